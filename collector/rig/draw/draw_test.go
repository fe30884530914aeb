package draw

import (
	"reflect"
	"slices"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

const start = station.Instant(1767225600 * station.Second)

func TestSetsHaveNames(t *testing.T) {
	for _, s := range []Set{Tune, Check, Report} {
		if got, err := ParseSet(s.String()); err != nil || got != s {
			t.Errorf("%s is parsed as %v, %v", s, got, err)
		}
	}
	if _, err := ParseSet("all"); err == nil {
		t.Error("the set all was taken")
	}
}

// Equal arguments give equal cases, other sets and numbers others; all kinds take turns.
func TestCasesAreDetermined(t *testing.T) {
	seeds := map[uint64]bool{}
	for _, s := range []Set{Tune, Check, Report} {
		for n := range 2 * len(Kinds()) {
			a, b := Draw(s, n), Draw(s, n)
			a.Spec.Outlet, b.Spec.Outlet = 0, 0 // NaN, which equals nothing, means at set
			if !reflect.DeepEqual(a, b) {
				t.Errorf("%s %d differs from itself", s, n)
			}
			if a.Set != s || a.N != n || a.Kind != Kinds()[n%len(Kinds())] || a.Seconds <= 0 {
				t.Errorf("%s %d: %s %d, kind %s, %d s", s, n, a.Set, a.N, a.Kind, a.Seconds)
			}
			seeds[a.Spec.Seed] = true
		}
	}
	if want := 3 * 2 * len(Kinds()); len(seeds) != want {
		t.Errorf("%d seeds of %d cases", len(seeds), want)
	}
}

// Every station strokes.
func TestStationsWork(t *testing.T) {
	for n := range 2 * len(Kinds()) {
		c := Draw(Tune, n)
		s := rig.New(c.Spec, start, 0)
		s.Until(start.Add(120 * station.Second))
		if k := s.Truth(); k.Strokes < 3 {
			t.Errorf("%s, %d: %d strokes in two minutes", c.Kind, n, k.Strokes)
		}
		if !slices.Contains(Kinds(), c.Kind) {
			t.Errorf("%d is of kind %q", n, c.Kind)
		}
	}
}
