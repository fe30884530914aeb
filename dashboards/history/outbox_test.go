package history

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// What waits is given whole, whether it is due or not, by receiver and in order; the
// oldest tells how long.
func TestOutboxWaitingAndOldest(t *testing.T) {
	s := fresh(t, "mail", "phone")
	if o, err := s.OutboxOldest(t.Context()); err != nil || len(o) != 0 {
		t.Errorf("of nothing: %v, %v", o, err)
	}
	first := transition(0, rules.OutletLeak, rules.Unacknowledged)
	do(t, s, commit(1, nil, first, transition(1, rules.OutletLeak, rules.ReturnedUnacknowledged), transition(2, rules.SignalLost, rules.Unacknowledged)))
	due, err := s.OutboxDue(t.Context(), "mail", t0, 9)
	if err != nil || len(due) != 2 {
		t.Fatal(due, err)
	}
	if err := s.OutboxRetry(t.Context(), due[0].ID, t0.Add(station.Minute60), "waits"); err != nil {
		t.Fatal(err)
	}
	all, err := s.OutboxWaiting(t.Context(), "mail", 9)
	if err != nil || len(all) != 3 || all[0].LastError != "waits" || all[1].Transition.To != rules.ReturnedUnacknowledged || all[2].Transition.Alarm != rules.SignalLost {
		t.Fatalf("%+v, %v", all, err)
	}
	if all, _ := s.OutboxWaiting(t.Context(), "mail", 2); len(all) != 2 {
		t.Errorf("%d with a limit of 2", len(all))
	}
	if err := s.OutboxDone(t.Context(), all[0].ID); err != nil {
		t.Fatal(err)
	}
	o, err := s.OutboxOldest(t.Context())
	if err != nil || o["phone"] != first.At || o["mail"] != all[1].Transition.At || o["mail"] == first.At {
		t.Errorf("%v, %v", o, err)
	}
}
