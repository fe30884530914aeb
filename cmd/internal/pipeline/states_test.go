package pipeline_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
)

// sceneOf gives a random station its scenes: filled from empty, at rest, with demand, with a
// header that falls below what set asks for (seen by a header sensor), with a jammed piston and
// demand, shut down, vented, off, filled again, without its sensors' signals.
func sceneOf(seed uint64, rate float64) *scene {
	s := draw.Steady(1000+seed, rate)
	s.Faults, s.Outlet = nil, 0
	s.Sensors.Header, s.Sensors.Valve = true, seed%2 == 0
	flow := s.Rhythm.Flow
	if flow == 0 {
		flow = 4e-3 * s.Geometry.BoostArea() * s.Geometry.Stroke / 3.3e-4
	}
	s.Rhythm = rig.Rhythm{}
	set := s.Params.Governor.SetGauge
	low := s.Params.Supply.HeaderGauge - 0.85*set/s.Geometry.Ratio()
	s.Faults = []rig.Fault{
		{Kind: rig.HeaderLow, Level: low, From: sec(260), Until: sec(330), Grow: 2 * station.Second},
		until(rig.PistonStuck, 1, 400.3, 440.7),
		until(rig.Shutdown, 1, 500.2, 541.7), until(rig.Vented, 1, 541.7, 600.6),
	}
	draws := func(q float64) func(*rig.Station) { return func(v *rig.Station) { v.Rhythm.Base = q } }
	return &scene{spec: s, end: 800, lose: [2]float64{740.3, 760.9}, acts: []act{
		{150, draws(0.35 * flow)}, {200, draws(0)}, {255, draws(0.35 * flow)}, {280, draws(0)},
		{340, draws(0.2 * flow)}, {380, draws(0)}, {402, draws(0.35 * flow)}, {420, draws(0)}, {470, draws(0.35 * flow)}, {495, draws(0)},
	}}
}

// kindOf names a row of the table.
type kindOf struct {
	counter bool
	rate    float64
	state   station.State
}

// tallies are what became of the beginnings of states, of the true times of stall, and of those
// told.
type tallies struct{ begins, stalls, told map[kindOf]*bound }

func (y *tallies) of(m map[kindOf]*bound, k kindOf) *bound {
	if m[k] == nil {
		m[k] = new(bound)
	}
	return m[k]
}

// take compares a scene with what was told of it.
func (y *tallies) take(s *scene, told []station.Interval, k kindOf) {
	stall := func(st station.State) bool { return st == station.Holding || st == station.Starved }
	share := func(v station.Interval, right float64) float64 {
		length := float64(v.To.Sub(v.From)) * 1e-9
		return (length - right) / math.Max(1, 0.02*length)
	}
	for n := range s.truth {
		v := &s.truth[n]
		k.state = v.State
		if s.counts(n) {
			off, ok := near(told, v)
			y.of(y.begins, k).add(off, ok)
		}
		if stall(v.State) {
			y.of(y.stalls, k).add(share(v.Interval, covered(told, v.State, v.From, v.To)), true)
		}
	}
	for _, v := range told {
		if k.state = v.State; stall(v.State) {
			y.of(y.told, k).add(share(v, s.justified(v.State, v.From, v.To)), true)
		}
	}
}

// leastRight are the shares that must be right, and were reached: beginnings within a second, true
// times of stall told but for the larger of a second and 2 %, times told that are true. Truth counts
// a creeping piston as standing. Of starved the engine misses the time that the outlet takes to fall
// from where the governor starts the piston, which has to be learned; from the traces alone a stroke
// whose draw drowns in the noise is told as standing.
var leastRight = map[station.State][3]float64{
	station.Blind: {1, 0, 0}, station.Off: {1, 0, 0}, station.Charging: {1, 0, 0}, station.Venting: {1, 0, 0}, station.Residual: {1, 0, 0},
	station.Stroking: {0.88, 0, 0}, station.Holding: {0.82, 0.88, 0.8}, station.Starved: {0.62, 0.7, 0.85},
}

// States of thirty random virtual stations, at 10, 20 and 100 Hz, with their counter and from
// the traces alone, against the rig's truth: when each state begins, and how much of each time of
// stall is told. The truth of working and standing is the speed of the piston, see scene.tell.
func TestStatesOfScenes(t *testing.T) {
	y := tallies{map[kindOf]*bound{}, map[kindOf]*bound{}, map[kindOf]*bound{}}
	rates := []float64{10, 20, 100}
	for seed := range uint64(30) {
		s := sceneOf(seed, rates[seed%3])
		units := [2]*pipeline.Unit{pipeline.New(s.spec.Plate, "test"), pipeline.New(s.spec.Plate, "test")}
		s.play(units)
		for i, u := range units {
			y.take(s, u.Out.Intervals, kindOf{counter: i == 0, rate: rates[seed%3]})
			addUp(t, u)
		}
	}
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 1, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "counter\tHz\tstate\tbegins\tfound\twithin 1 s\tmedian s\tworst s\t|true stalls\tmet\tmedian\tworst\t|told stalls\tmet\tmedian\tworst\t")
	for _, counter := range []bool{true, false} {
		for _, rate := range rates {
			for st := range station.NumStates {
				k := kindOf{counter, rate, st}
				fmt.Fprintf(w, "%v\t%g\t%s\t", counter, rate, st)
				for i, m := range []map[kindOf]*bound{y.begins, y.stalls, y.told} {
					b := y.of(m, k)
					if b.n == 0 {
						continue
					}
					median, worst := b.typical()
					if fmt.Fprintf(w, "%d\t", b.n); i == 0 {
						fmt.Fprintf(w, "%d\t", len(b.errs))
					}
					fmt.Fprintf(w, "%d\t%.2f\t%.2f\t", b.within(1), median, worst)
					if least := leastRight[st][i]; float64(b.within(1)) < least*float64(b.n) {
						t.Errorf("counter %v, %g Hz, %s: of %d only %d are right", counter, rate, st, b.n, b.within(1))
					}
				}
				fmt.Fprintln(w)
			}
		}
	}
	w.Flush()
	t.Logf("\n%s", table.String())
}

// States and minutes of a scene do not depend on how its samples are cut into blocks.
func TestStatesOfScenesHoweverCut(t *testing.T) {
	for _, seed := range []uint64{1, 3, 8} {
		s := sceneOf(seed, 20)
		fine, coarse := pipeline.New(s.spec.Plate, "test"), pipeline.New(s.spec.Plate, "test")
		v := rig.New(s.spec, rigStart, 100)
		var kept []station.Block
		for at, n := rigStart, 0; at < sec(700); at, n = at.Add(look), n+1 {
			for _, a := range s.acts {
				if sec(a.at) == at {
					a.do(v)
				}
			}
			blocks := v.Until(at.Add(look))
			for _, b := range blocks {
				b.Values, b.Times = slices.Clone(b.Values), slices.Clone(b.Times)
				kept = append(kept, b)
			}
			fine.Samples(blocks, at.Add(look))
			if n%37 == 36 {
				coarse.Samples(kept, at.Add(look))
				kept = kept[:0]
			}
		}
		coarse.Samples(kept, sec(700))
		fine.Flush()
		coarse.Flush()
		if !slices.Equal(fine.Out.Intervals, coarse.Out.Intervals) {
			t.Errorf("station %d: states depend on the cut", seed)
		}
		for i := range fine.Out.Minutes {
			if a, b := &fine.Out.Minutes[i], &coarse.Out.Minutes[i]; a.StateNs != b.StateNs || a.Strokes != b.Strokes {
				t.Errorf("station %d: minute %s depends on the cut: %v and %v", seed, a.Start, a.StateNs, b.StateNs)
			}
		}
		addUp(t, fine)
	}
}

// addUp checks that intervals follow each other, and that minutes and intervals agree, minute by
// minute and state by state.
func addUp(t *testing.T, u *pipeline.Unit) {
	t.Helper()
	for i := 1; i < len(u.Out.Intervals); i++ {
		if a, b := &u.Out.Intervals[i-1], &u.Out.Intervals[i]; b.From != a.To || b.To <= b.From {
			t.Errorf("%s from %s to %s follows %s until %s", b.State, b.From, b.To, a.State, a.To)
		}
	}
	for i := range u.Out.Minutes {
		m := &u.Out.Minutes[i]
		for st, ns := range m.StateNs {
			said := covered(u.Out.Intervals, station.State(st), m.Start, m.Start.Add(station.Minute60))
			if ns < 0 || math.Abs(said-float64(ns)*1e-9) > 1e-6 {
				t.Errorf("minute %s: %s for %d ns, by its intervals %.6f s", m.Start, station.State(st), ns, said)
			}
		}
	}
}
