package notify

import (
	"time"

	"strokewise/rules"
)

// MailText returns subject and body of the mail that a transition makes, with times in a zone; nil
// is UTC. It names no page.
func MailText(t *rules.Transition, zone *time.Location) (subject, body string) {
	if zone == nil {
		zone = time.UTC
	}
	return mailText(t, nil, zone, "")
}
