package notify

import (
	"fmt"
	"strings"
	"time"

	"strokewise/rules"
)

// mailText gives subject and body of a transition's mail: the caution, the message and
// the evidence first.
func mailText(t *rules.Transition, zone *time.Location, pages string) (subject, body string) {
	subject = fmt.Sprintf("[strokewise] %s: %s %s at %s", t.Priority, t.Alarm, happeningOf(t), t.Key)
	var b strings.Builder
	if t.Caution != "" {
		fmt.Fprintf(&b, "CAUTION: %s\n\n", t.Caution)
	}
	if t.Message != "" {
		fmt.Fprintf(&b, "%s\n\n", t.Said())
	}
	for _, e := range evidence(t) {
		fmt.Fprintf(&b, "  %s\n", e)
	}
	if len(t.Evidence) > 0 {
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "station:   %s\n", t.Key)
	if t.Branch != "" {
		fmt.Fprintf(&b, "branch:    %s\n", t.Branch)
	}
	fmt.Fprintf(&b, "alarm:     %s, %s priority, %s\nraised:    %s\nthis:      %s\n", t.Alarm, t.Priority, t.To, local(t.Raised, zone), local(t.At, zone))
	if d, ok := rules.DefinitionOf(t.Key, t.Alarm); ok && t.To.Active() {
		b.WriteString(knownText(&d))
	}
	if pages != "" {
		fmt.Fprintf(&b, "\n%s\n", stationPage(pages, t))
	}
	fmt.Fprintf(&b, "\n%s\n", reminder)
	return subject, plain(b.String())
}

// knownText returns what is known of an alarm beforehand, for mails.
func knownText(d *rules.Definition) string {
	text := fmt.Sprintf("first:     %s\nrespond:   %s\n\n%s Likely causes: %s.\n", d.CheckFirst, d.RespondIn, d.Consequence, strings.Join(d.Causes, "; "))
	if d.Runbook != "" {
		text += "\nRunbook: " + d.Runbook + "\n"
	}
	return text
}

// digestText gives subject and body of a digest of a site.
func digestText(items []Item, zone *time.Location, pages string) (subject, body string) {
	subject = fmt.Sprintf("[strokewise] %s: %d of low priority and findings", items[0].Transition.Key.Site, len(items))
	var b strings.Builder
	for i := range items {
		t := &items[i].Transition
		fmt.Fprintf(&b, "%s  %s  %s %s (%s)\n", local(t.At, zone), t.Key, t.Alarm, happeningOf(t), t.Priority)
		if t.Message != "" {
			fmt.Fprintf(&b, "    %s\n", t.Said())
		}
		if t.Caution != "" && t.To.Active() {
			fmt.Fprintf(&b, "    CAUTION: %s\n", t.Caution)
		}
		if pages != "" {
			fmt.Fprintf(&b, "    %s\n", stationPage(pages, t))
		}
	}
	fmt.Fprintf(&b, "\n%s\n", reminder)
	return subject, plain(b.String())
}

// plain takes control characters other than line ends out of a body.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
}
