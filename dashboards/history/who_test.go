package history

import (
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Who changed a state and why is kept, and both ends of a shelving are, although the
// occurrence and the state gone to may be the same.
func TestWhoAndWhyAreKept(t *testing.T) {
	s := fresh(t)
	raised := transition(0, rules.OutletLeak, rules.Unacknowledged)
	c := commit(1, nil, raised)
	for n, to := range []rules.AlarmState{rules.Shelved, rules.Normal, rules.Shelved} {
		tr := transition(n+1, rules.OutletLeak, to)
		tr.Raised, tr.From, tr.By, tr.Why = raised.Raised, rules.Shelved, "Ada", "fitter ordered"
		c.Transitions = append(c.Transitions, tr)
	}
	do(t, s, c)
	got, err := s.Transitions(t.Context(), press, 0, ever)
	if err != nil || len(got) != 4 || got[0].By != "" || got[3].By != "Ada" || got[3].Why != "fitter ordered" {
		t.Fatalf("%+v, %v", got, err)
	}
	for i := range got {
		if got[i].ID() != c.Transitions[i].ID() {
			t.Errorf("the ID was %s and is %s", c.Transitions[i].ID(), got[i].ID())
		}
	}
	open, err := s.OpenAlarms(t.Context())
	if err != nil || len(open) != 1 || open[0].To != rules.Shelved || open[0].By != "Ada" {
		t.Errorf("%+v, %v", open, err)
	}
}

// What the design keeps back is stored, and nobody is told.
func TestSuppressedIsToldToNobody(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "history.db"), "phone")
	c := commit(1, nil)
	for n, step := range [][2]rules.AlarmState{{rules.Normal, rules.SuppressedByDesign}, {rules.SuppressedByDesign, rules.Normal},
		{rules.Normal, rules.SuppressedByDesign}, {rules.SuppressedByDesign, rules.Unacknowledged}} {
		tr := transition(n, rules.OutletLeak, step[1])
		tr.From = step[0]
		c.Transitions = append(c.Transitions, tr)
	}
	do(t, s, c)
	got, err := s.Transitions(t.Context(), press, 0, ever)
	if err != nil || len(got) != 4 {
		t.Fatalf("%d transitions, %v", len(got), err)
	}
	due, err := s.OutboxDue(t.Context(), "phone", t0.Add(3600*station.Second), 9)
	if err != nil || len(due) != 1 || due[0].Transition.To != rules.Unacknowledged {
		t.Errorf("%+v, %v", due, err)
	}
}

// A database of version 3 keeps its transitions, without who and why.
func TestADatabaseOfVersion3IsBroughtUpToDate(t *testing.T) {
	s := broughtUp(t, "version3.sql")
	got, err := s.OpenAlarms(t.Context())
	if err != nil || len(got) != 2 || got[0].By != "" || got[0].Why != "" || got[0].Message != "m" {
		t.Fatalf("%+v, %v", got, err)
	}
	due, err := s.OutboxDue(t.Context(), "phone", t0, 9)
	if err != nil || len(due) != 2 || due[0].Transition.ID() != "northdock/press-4/pressure-left/1767225600000000000/1" {
		t.Errorf("%+v, %v", due, err)
	}
	sameHours(t, s)
	do(t, s, commit(13, []station.Minute{minute(71)}, transition(20, rules.OutletLeak, rules.Normal)))
}
