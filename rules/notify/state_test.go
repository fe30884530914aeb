package notify

import (
	"context"
	"errors"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// answering is a way that answers what it is told to.
type answering struct{ err error }

func (a *answering) Deliver(context.Context, *Item) (time.Duration, error) { return 0, a.err }
func (a *answering) Test(context.Context) (string, error)                  { return "", a.err }
func (a *answering) Close()                                                {}

// waiting is an outbox with one item that is always due.
type waiting struct{ err error }

func (w *waiting) OutboxDue(context.Context, string, station.Instant, int) ([]Item, error) {
	return []Item{{ID: 1, Transition: rules.Transition{Alarm: "outlet-leak"}}}, w.err
}
func (w *waiting) OutboxDone(context.Context, int64) error { return w.err }
func (w *waiting) OutboxRetry(context.Context, int64, station.Instant, string) error {
	return w.err
}

func TestStatesSayHowEachReceiverDoes(t *testing.T) {
	box, way := &waiting{}, &answering{err: errors.New("away")}
	s := New(box, nil, nil)
	s.Add("crew", way)
	now := time.Unix(1e9, 0)
	r := s.receivers[0]
	r.now = func() time.Time { return now }
	state := func() State { r.round(t.Context()); return s.States()[0] }

	began := now
	if got := state(); got.Receiver != "crew" || got.Trouble == nil || !got.Since.Equal(began) || !got.Again.After(now) || got.Gone || got.Outbox != nil || !got.Heard.Equal(now) {
		t.Errorf("away: %+v", got)
	}
	now = now.Add(time.Minute)
	if got := state(); got.Trouble == nil || !got.Since.Equal(began) {
		t.Errorf("still away: %+v", got)
	}
	way.err = nil
	r.send(t.Context()) // one round that is answered; round would go on for ever with this outbox
	if got := s.States()[0]; got.Trouble != nil {
		t.Errorf("back: %+v", got)
	}
	box.err = errors.New("malformed")
	if got := state(); got.Outbox == nil {
		t.Errorf("outbox that cannot be read: %+v", got)
	}
	box.err, way.err = nil, ErrGone
	if got := state(); !got.Gone || got.Outbox != nil {
		t.Errorf("gone: %+v", got)
	}
}
