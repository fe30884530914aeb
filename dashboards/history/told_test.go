package history

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Two histories work off one log. What the first one's receivers were told of is not queued by the
// second one; what waited there is, from the oldest that waits on; and what was concluded behind it is.
func TestWhatAnotherHistoryToldIsNotQueued(t *testing.T) {
	commit := func(position uint64, ts ...rules.Transition) Commit {
		c := commit(position, nil, ts...)
		c.Partition = transition(0, rules.OutletLeak, rules.Unacknowledged).Key.Partition()
		return c
	}
	told := transition(0, rules.OutletLeak, rules.Unacknowledged)
	waits := transition(1, rules.OutletLeak, rules.ReturnedUnacknowledged)
	other := transition(2, rules.SignalLost, rules.Unacknowledged)
	later := transition(3, rules.SignalLost, rules.ReturnedUnacknowledged)
	first := fresh(t, "mail", "phone")
	do(t, first, commit(5, told, waits, other))
	for _, receiver := range []string{"mail", "phone"} { // mail was told of all, the phone of the oldest
		for {
			due, err := first.OutboxDue(t.Context(), receiver, t0.Add(1<<50), 9)
			if err != nil {
				t.Fatal(err)
			}
			if len(due) == 0 {
				break
			}
			if err := first.OutboxDone(t.Context(), due[0].ID); err != nil {
				t.Fatal(err)
			}
			if receiver == "phone" {
				break
			}
		}
	}
	record, err := first.Told(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	n := commit(5).Partition
	if record.Positions[n] != 5 || len(record.Pending) != 2 {
		t.Fatalf("%+v", record)
	}

	second := fresh(t, "mail", "phone")
	upto := commit(5, told, waits, other)
	upto.Told = record
	do(t, second, upto, commit(6, later))
	queued := func(s *Store, receiver string) (out []string) {
		list, err := s.OutboxWaiting(t.Context(), receiver, 9)
		if err != nil {
			t.Fatal(err)
		}
		for i := range list {
			out = append(out, list[i].Transition.ID())
		}
		return out
	}
	want := func(s *Store, receiver string, list ...rules.Transition) {
		t.Helper()
		got := queued(s, receiver)
		if len(got) != len(list) {
			t.Fatalf("%s waits for %v", receiver, got)
		}
		for i := range list {
			if got[i] != list[i].ID() {
				t.Errorf("%s waits for %v", receiver, got)
			}
		}
	}
	want(second, "mail", later)
	want(second, "phone", waits, other, later)

	// a third one, that had stood still with all of it in its outbox
	third := fresh(t, "mail", "phone")
	do(t, third, commit(5, told, waits, other))
	if n, err := third.DropTold(t.Context(), record); err != nil || n != 4 {
		t.Errorf("%d dropped: %v", n, err)
	}
	want(third, "mail")
	want(third, "phone", waits, other)
	// and one that had come further than the record
	fourth := fresh(t, "mail", "phone")
	do(t, fourth, commit(6, told))
	if n, err := fourth.DropTold(t.Context(), record); err != nil || n != 0 {
		t.Errorf("%d dropped: %v", n, err)
	}
}

// A header's transition has no position in the log: its time decides.
func TestHeadersAreToldByTime(t *testing.T) {
	x := transition(0, "header-low", rules.Unacknowledged)
	x.Key = station.HeaderKey(x.Key.Site, "main")
	r := &Told{Headers: []Upto{{x.Key.Site, x.Key.Station, x.At}}}
	if !r.Heard("mail", &x) {
		t.Error("one that was told counts as new")
	}
	x.At++
	if r.Heard("mail", &x) {
		t.Error("a newer one counts as told")
	}
	if (&Told{}).Heard("mail", &x) || (*Told)(nil).Heard("mail", &x) {
		t.Error("nobody was told, and it counts as told")
	}
}
