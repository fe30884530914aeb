package notify

import (
	"context"
	"net/http"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
	"strokewise/rules/notify/egress"
)

// Webhook is a receiver that takes CloudEvents.
type Webhook struct {
	Name    string
	URL     string
	Header  http.Header // sent along, such as Authorization; may be nil
	SignKey []byte      // events are signed with it; nil: they are not
	Client  *http.Client
	Known   Known
}

// Deliver posts an item as an event.
func (w *Webhook) Deliver(ctx context.Context, i *Item) (wait time.Duration, err error) {
	body, err := encode(&i.Transition, w.Known)
	if err != nil {
		return 0, err
	}
	_, wait, err = post(ctx, w.Client, w.URL, egress.Signed(w.Header, w.SignKey, body, time.Now()), contentType, body)
	return wait, err
}

// Test posts an event of the type strokewise.test.
func (w *Webhook) Test(ctx context.Context) (string, error) {
	t := testTransition(time.Now())
	body, err := encodeAs(&t, "strokewise.test", w.Known)
	if err != nil {
		return "", err
	}
	status, _, err := post(ctx, w.Client, w.URL, egress.Signed(w.Header, w.SignKey, body, time.Now()), contentType, body)
	return status, err
}

// Close lets connections go.
func (w *Webhook) Close() { w.Client.CloseIdleConnections() }

// testTransition stands for an alarm in test messages. Nothing of it is a station's.
func testTransition(now time.Time) rules.Transition {
	at := station.InstantOf(now)
	return rules.Transition{Key: station.Key{Site: "test", Station: "test"}, Alarm: "test", Priority: rules.Finding,
		From: rules.Normal, To: rules.Unacknowledged, At: at, Raised: at,
		Message: "This is a test of the way to you. No station has an alarm because of it."}
}
