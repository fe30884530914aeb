package pipeline_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"text/tabwriter"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// sceneOf gives a random station its scenes: filled from empty, at rest, with demand, with a
// header that falls below what set asks for (seen by a header sensor), with a jammed piston and
// demand, shut down, vented, off, filled again, without its sensors' signals.
func sceneOf(seed uint64, rate float64) *scene {
	s := random(1000+seed, rate)
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
	return &scene{name: s.Plate.Key.String(), spec: s, end: 800, lose: [2]float64{740.3, 760.9}, acts: []act{
		{150, draws(0.35 * flow)}, {200, draws(0)}, {255, draws(0.35 * flow)}, {280, draws(0)},
		{340, draws(0.2 * flow)}, {380, draws(0)}, {402, draws(0.35 * flow)}, {420, draws(0)}, {470, draws(0.35 * flow)}, {495, draws(0)},
	}}
}

func TestStatesOfScenes(t *testing.T) {
	rates := []float64{10, 20, 100}
	type key struct {
		counter bool
		rate    float64
		st      station.State
	}
	begins, short, excess := map[key]*bound{}, map[key]*bound{}, map[key]*bound{}
	of := func(m map[key]*bound, k key) *bound {
		if m[k] == nil {
			m[k] = new(bound)
		}
		return m[k]
	}
	for seed := range uint64(30) {
		rate := rates[seed%3]
		s := sceneOf(seed, rate)
		units := [2]*pipeline.Unit{pipeline.New(s.spec.Plate, "test"), pipeline.New(s.spec.Plate, "test")}
		s.play(units)
		for i, u := range units {
			told := u.Out.Intervals
			if os.Getenv("LIST") != "" {
				for n, v := range s.truth {
					if !s.counts(n) {
						continue
					}
					if off, ok := near(told, &v); !ok || math.Abs(off) > 1 {
						fmt.Printf("%d %g counter %v: %s at %.2f for %.2f off %.2f %v\n", seed, rate, i == 0, v.State, float64(v.From-rigStart)*1e-9, float64(v.To-v.From)*1e-9, off, ok)
					}
				}
			}
			for n, v := range s.truth {
				k := key{i == 0, rate, v.State}
				if s.counts(n) {
					off, ok := near(told, &v)
					of(begins, k).add(off, ok)
				}
				if v.State == station.Holding || v.State == station.Starved {
					length := float64(v.To.Sub(v.From)) * 1e-9
					of(short, k).add((length-covered(told, v.State, v.From, v.To))/math.Max(1, 0.02*length), true)
				}
			}
			for _, v := range told {
				if v.State == station.Holding || v.State == station.Starved {
					length := float64(v.To.Sub(v.From)) * 1e-9
					of(excess, key{i == 0, rate, v.State}).add((length-s.justified(v.State, v.From, v.To))/math.Max(1, 0.02*length), true)
				}
			}
		}
		if os.Getenv("SCENE") == fmt.Sprint(seed) {
			for _, v := range s.truth {
				fmt.Printf("true %-9s %8.2f %8.2f %v\n", v.State, float64(v.From-rigStart)*1e-9, float64(v.To-rigStart)*1e-9, v.Either)
			}
			for _, v := range units[1].Out.Intervals {
				fmt.Printf("told %-9s %8.2f %8.2f\n", v.State, float64(v.From-rigStart)*1e-9, float64(v.To-rigStart)*1e-9)
			}
		}
	}
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 1, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "counter\tHz\tstate\tbegins\tfound\twithin 1 s\tmedian s\tworst s\t|true spans\tmet\tmedian\tworst\t|told spans\tmet\tmedian\tworst\t")
	for _, counter := range []bool{true, false} {
		for _, rate := range rates {
			for st := station.State(0); st < station.NumStates; st++ {
				k := key{counter, rate, st}
				b := of(begins, k)
				md, wo := b.typical()
				fmt.Fprintf(w, "%v\t%g\t%s\t%d\t%d\t%d\t%.2f\t%.2f\t", counter, rate, st, b.n, len(b.errs), b.within(1), md, wo)
				for _, m := range []map[key]*bound{short, excess} {
					if b := of(m, k); b.n > 0 {
						md, wo := b.typical()
						fmt.Fprintf(w, "%d\t%d\t%.2f\t%.2f\t", b.n, b.within(1), md, wo)
					}
				}
				fmt.Fprintln(w)
			}
		}
	}
	w.Flush()
	t.Logf("\n%s", table.String())
}
