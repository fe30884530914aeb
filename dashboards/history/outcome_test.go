package history

import (
	"testing"

	"strokewise/rules"
)

// A database of version 7 holds refusals as words behind a person's own. They become outcomes of
// the command and of its note; a document that holds the same beginning stays a document.
func TestADatabaseOfVersion7IsBroughtUpToDate(t *testing.T) {
	s := broughtUp(t, "version7.sql")
	got, err := s.Acts(t.Context(), 0, ever)
	if err != nil {
		t.Fatal(err)
	}
	want := []Act{
		{What: "vented", Detail: "gauge reads 0", Outcome: rules.Outcome{Result: rules.Refused, Reason: `cannot vented "": the outlet still reads 878 kPa gauge: vent it, then look at the local gauge again`}},
		{What: "close", Detail: "leak: clamp tightened", Outcome: rules.Outcome{Result: rules.Refused, Reason: `cannot close "outlet-leak": its condition is still present`}},
		{What: "unshelve", Outcome: rules.Outcome{Result: rules.Refused, Reason: `cannot unshelve "outlet-leak": it is normal, not shelved`}},
		{What: "inspected", Detail: "sheet 12 (no effect: see page 2)"},
		{What: "done", Detail: "relief-test 2026-01-10 sheet 9", Outcome: rules.Outcome{Result: rules.NoEffect, Reason: "cannot record relief-test of 2026-01-10: it was done on 2026-01-10 already"}},
		{What: "note", Detail: "x", Outcome: rules.Outcome{Result: rules.Refused, Reason: "the station is not configured"}},
		{What: "note", Detail: "hose changed"},
	}
	if len(got) != len(want) {
		t.Fatalf("%d acts, want %d", len(got), len(want))
	}
	for i, a := range got {
		if a.What != want[i].What || a.Words() != want[i].Detail || a.Outcome != want[i].Outcome {
			t.Errorf("act %d is %+v, want %+v", i, a, want[i])
		}
	}
	notes, err := s.Notes(t.Context(), press, 0, ever)
	if err != nil || len(notes) != 6 {
		t.Fatalf("%d notes, %v", len(notes), err)
	}
	for i, r := range []rules.Result{rules.NoResult, rules.Refused, rules.Refused, rules.NoResult, rules.NoEffect, rules.NoResult} { // in order of time, "new seals" first
		if notes[i].Outcome.Result != r {
			t.Errorf("note %q has the outcome %q, want %q", notes[i].Text, notes[i].Outcome.Result, r)
		}
	}
	if notes[1].Outcome.Reason != want[0].Outcome.Reason {
		t.Errorf("the note's reason is %q", notes[1].Outcome.Reason)
	}
}

// What becomes of a command about a header is known only after the command was stored.
func TestAnOutcomeThatIsDecidedLater(t *testing.T) {
	s := fresh(t)
	refused := rules.Outcome{Result: rules.Refused, Reason: "its condition is still present"}
	act := Act{At: t0.Add(1), Who: "Ana", What: "close", Target: Target(press, rules.HeaderLow), Detail: "d"}
	other := act
	other.At = t0.Add(2)
	do(t, s, Commit{Partition: 5, Position: 10, Acts: []Act{act, other}, Notes: []Note{{Key: press, At: act.At, Who: "Ana", Text: "a"}, {Key: press, At: other.At, Who: "Ana", Text: "b"}}})
	later := act
	later.Detail, later.Outcome = "", refused
	if err := s.CommitHeaders(t.Context(), &HeaderCommit{Decided: []Decided{{press, later}}}); err != nil {
		t.Fatal(err)
	}
	got, err := s.ActsAt(t.Context(), act.At)
	if err != nil || len(got) != 1 || got[0].Outcome != refused || got[0].Detail != "d" {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err = s.ActsAt(t.Context(), other.At); err != nil || len(got) != 1 || got[0] != other {
		t.Errorf("%+v, %v", got, err)
	}
	notes, err := s.Notes(t.Context(), press, 0, ever)
	if err != nil || len(notes) != 2 || notes[0].Outcome != refused || notes[1].Outcome != (rules.Outcome{}) {
		t.Errorf("%+v, %v", notes, err)
	}
}
