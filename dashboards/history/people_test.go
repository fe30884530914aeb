package history

import (
	"errors"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

func TestPeopleAreStoredWithTheCommitOnce(t *testing.T) {
	s := fresh(t)
	act := func(n int, what, target string) Act {
		return Act{At: t0.Add(int64(n)), Who: "Ana", What: what, Target: target, Detail: "d"}
	}
	other := station.Key{Site: "northdock", Station: "press-9"} // nothing else is stored of it
	c := Commit{Partition: 5, Position: 10,
		Acts:  []Act{act(1, "note", press.String()), act(2, "inspected", press.String()), act(3, "inspected", press.String()), act(4, "inspected", other.String())},
		Notes: []Note{{Key: press, At: t0.Add(1), Who: "Ana", Text: "a"}, {Key: other, At: t0, Who: "Bea", Text: "b"}}}
	do(t, s, c)
	if err := s.Commit(t.Context(), []Commit{c}); !errors.Is(err, ErrStale) {
		t.Errorf("the same again: %v", err)
	}
	got, err := s.LastActs(t.Context(), 3)
	if err != nil || len(got) != 3 || got[0] != c.Acts[3] || got[2] != c.Acts[1] {
		t.Errorf("%v, %v", got, err)
	}
	latest, err := s.LatestActs(t.Context(), "inspected")
	if err != nil || len(latest) != 2 || latest[press.String()] != c.Acts[2] || latest[other.String()] != c.Acts[3] {
		t.Errorf("%v, %v", latest, err)
	}
	notes, err := s.LastNotes(t.Context(), station.Key{}, 10)
	if err != nil || len(notes) != 2 || notes[0] != c.Notes[0] || notes[1] != c.Notes[1] {
		t.Errorf("%v, %v", notes, err)
	}
	if notes, err = s.LastNotes(t.Context(), other, 10); err != nil || len(notes) != 1 || notes[0] != c.Notes[1] {
		t.Errorf("%v, %v", notes, err)
	}
}

// A word that was refused, or had no effect, hides no older one that had; where none had, it is shown.
func TestARefusedWordHidesNoOlderOne(t *testing.T) {
	s := fresh(t)
	other := station.Key{Site: "northdock", Station: "press-9"}
	act := func(n int, k station.Key, r rules.Result) Act {
		return Act{At: t0.Add(int64(n)), Who: "Ana", What: "inspected", Target: k.String(), Outcome: rules.Outcome{Result: r}}
	}
	c := Commit{Partition: 5, Position: 10, Acts: []Act{act(1, press, rules.Done), act(2, press, rules.Refused), act(3, press, rules.NoEffect), act(4, other, rules.Refused)}}
	do(t, s, c)
	latest, err := s.LatestActs(t.Context(), "inspected")
	if err != nil || latest[press.String()] != c.Acts[0] || latest[other.String()] != c.Acts[3] {
		t.Errorf("%v, %v", latest, err)
	}
}
