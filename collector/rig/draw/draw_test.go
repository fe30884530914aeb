package draw

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

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

// Equal arguments return equal cases, other sets and numbers others; all kinds take turns.
func TestCasesAreDetermined(t *testing.T) {
	t.Parallel()
	seeds := map[uint64]bool{}
	for _, s := range []Set{Tune, Check, Report} {
		for n := range len(Kinds()) {
			a, b := Draw(s, n), Draw(s, n)
			if a.Spec.Outlet != a.Spec.Outlet && b.Spec.Outlet != b.Spec.Outlet {
				a.Spec.Outlet, b.Spec.Outlet = 0, 0 // NaN, which equals nothing, means at set
			}
			if !reflect.DeepEqual(a, b) {
				t.Errorf("%s %d differs from itself", s, n)
			}
			if a.Set != s || a.N != n || a.Kind != Kinds()[n] {
				t.Errorf("%s %d: %s %d, kind %s", s, n, a.Set, a.N, a.Kind)
			}
			seeds[a.Spec.Seed] = true
		}
	}
	if want := 3 * len(Kinds()); len(seeds) != want {
		t.Errorf("%d seeds of %d cases", len(seeds), want)
	}
}

// catalogued reads the names of alarms from the catalogue, which this package does not import.
func catalogued(t *testing.T) map[string]bool {
	t.Helper()
	files, err := filepath.Glob("../../../rules/catalogue/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no catalogue: %v", err)
	}
	names := map[string]bool{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(?m)^  - name: (\S+)$`).FindAllSubmatch(b, -1) {
			names[string(m[1])] = true
		}
	}
	return names
}

// Two hundred stations: each lasts 15 minutes to somewhat over half an hour, its alarms are of the
// catalogue and due while it lasts, its header is no steeper than said, its set within reach, and it
// strokes.
func TestStationsWork(t *testing.T) {
	t.Parallel()
	names := catalogued(t)
	for n := range 200 {
		c := Draw(Tune, n)
		p := &c.Spec.Params
		for _, x := range c.Due {
			if !names[x.Alarm] || x.From < 0 || x.By <= x.From || x.By > float64(c.Seconds) {
				t.Errorf("%d, %s: due %+v of %d s", n, c.Kind, x, c.Seconds)
			}
		}
		for _, a := range c.Traps {
			if !names[a] || slices.ContainsFunc(c.Due, func(d Due) bool { return d.Alarm == a }) {
				t.Errorf("%d, %s: trap %s", n, c.Kind, a)
			}
		}
		if c.Seconds < 900 || c.Seconds > 2700 {
			t.Errorf("%d, %s: %d s", n, c.Kind, c.Seconds)
		}
		if h := &p.Supply.Header; h.Steepest() > steepest*(1+1e-9) || h.Draw/h.Ramp > steepest/2*(1+1e-9) {
			t.Errorf("%d, %s: slopes of %g and %g Pa/s", n, c.Kind, h.Steepest(), h.Draw/h.Ramp)
		}
		s := rig.New(c.Spec, Start, 0)
		at := Start
		for ; s.Truth().Strokes < 10 && at < Start.Add(600*station.Second); at = at.Add(station.Second) {
			s.Until(at.Add(station.Second))
		}
		if k := s.Truth(); k.Strokes < 10 {
			in, out := s.Pressures()
			t.Errorf("%d, %s: %d strokes in %g s, inlet %g, outlet %g, set %g", n, c.Kind, k.Strokes, float64(at.Sub(Start))*1e-9, in, out, p.Governor.SetGauge)
		}
	}
}

// In seven minutes of two stations of each kind no relief valve blows, but where the set is turned
// above it, and the branch has its regulator's setting nearly all the time.
func TestStationsKeepTheirPressure(t *testing.T) {
	t.Parallel()
	const seconds = 420
	for n := range 2 * len(kinds) {
		c := Draw(Tune, n)
		p := &c.Spec.Params
		c.Spec.Outlet = triedAt * p.Governor.SetGauge // one that starts empty has nothing to keep yet
		s := rig.New(c.Spec, Start, 0)
		short := 0
		for at := Start; at < Start.Add(seconds*station.Second); at = at.Add(station.Second) {
			s.Until(at.Add(station.Second))
			if _, out := s.Pressures(); out < p.Regulator.SetGauge {
				short++
			}
		}
		if blown := s.Truth().Relief; blown > 0 && c.Kind != "relief-pops" {
			t.Errorf("%d, %s: %g L blown off, set %g, relief valve %g", n, c.Kind, blown, p.Governor.SetGauge, p.Relief.SetGauge)
		}
		if short > seconds/50 && c.Kind != "undersized" && c.Kind != "shutdown" {
			t.Errorf("%d, %s: the branch is short for %d of %d s", n, c.Kind, short, seconds)
		}
	}
}
