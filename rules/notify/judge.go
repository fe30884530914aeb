package notify

import (
	"context"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Present gives the newest transition of an alarm if that is not normal, else nil.
type Present func(k station.Key, alarm string) *rules.Transition

// Route sets who is told what. It must not be called once Run was.
func (s *Sender) Route(routes *Routes, present Present) {
	for _, r := range s.receivers {
		r.judge = func(i *Item, now time.Time) Verdict {
			return routes.Decide(r.name, &i.Transition, now, present(i.Transition.Key, i.Transition.Alarm))
		}
	}
}

// Withheld gives the transitions that were not told because of routes or maintenance, by
// receiver.
func (s *Sender) Withheld() map[string]int64 {
	out := make(map[string]int64, len(s.receivers))
	for _, r := range s.receivers {
		r.mu.Lock()
		out[r.name] = r.withheld
		r.mu.Unlock()
	}
	return out
}

// withhold puts an item off or drops it; a wait is looked at again now and then, since the
// configuration may change at a start. The transition stays in the history.
func (r *receiver) withhold(ctx context.Context, i *Item, v Verdict) (sent bool, err error) {
	if !v.Wait.IsZero() {
		until := earlier(v.Wait, r.now().Add(judgeAgain))
		return false, r.outbox.OutboxRetry(ctx, i.ID, station.InstantOf(until), v.Why)
	}
	r.mu.Lock()
	r.withheld++
	r.mu.Unlock()
	return true, r.outbox.OutboxDone(ctx, i.ID)
}
