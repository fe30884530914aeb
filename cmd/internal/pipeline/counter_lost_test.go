package pipeline_test

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
)

// With the counter, strokes are right within a cycle on all recordings of independent models that have one,
// and the counter serves throughout. Source: their truth.json.
func TestCountersOfRecordingsServe(t *testing.T) {
	for _, dir := range allRecordings(t) {
		var has struct{ Counter string }
		if readJSON(t, filepath.Join(dir, "station.json"), &has); has.Counter == "" {
			continue
		}
		t.Run(filepath.Base(dir), func(t *testing.T) {
			var tr struct{ Totals struct{ Strokes float64 } }
			readJSON(t, filepath.Join(dir, "truth.json"), &tr)
			u, lost, read := pipeline.New(placedPlate(t, dir), "test"), 0, false
			feed(t, u, filepath.Join(dir, "trace.csv.gz"), true, func(*station.Block) {
				switch u.Status.StrokeRate.Method {
				case station.MethodBoth, station.MethodCounter:
					read = true
				case station.MethodTraces:
					if read {
						lost++
					}
				}
			})
			if r := resultOf(u); math.Abs(r.strokes-tr.Totals.Strokes) > 2 || lost > 0 {
				t.Errorf("%g strokes, the model made %g; without the counter %d times", r.strokes, tr.Totals.Strokes, lost)
			}
		})
	}
}

// A sound counter is exact within a cycle on stations as plants have them, noise of 2 kPa among them. Other
// seeds than TestHardStations has, and no gap at the end. Source of the truth: collector/rig.
func TestASoundCounterIsNotOverruled(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for seed := uint64(300); seed < 325; seed++ {
		h := draw.Hard(seed)
		if c := playHard(h, 590, true); math.Abs(c.strokes-float64(c.truth.Strokes)) > 2 {
			t.Errorf("station %d: %g strokes, truth %d", seed, c.strokes, c.truth.Strokes)
		}
	}
	for seed := uint64(40); seed < 56; seed++ {
		s, x := plantStation(seed)
		u, v := playPlant(s, x, 900, nil, nil)
		u.Flush()
		if n := resultOf(u).strokes; math.Abs(n-float64(v.Truth().Strokes)) > 2 {
			t.Errorf("plant station %d: %g strokes, truth %d", seed, n, v.Truth().Strokes)
		}
	}
}

// lostCounter is a counter that stands still from diesAt s to wakesAt s, and then counts on.
const (
	diesAt  = 300
	wakesAt = 1500
	heard   = 900 // s within which either must be noticed
)

// A counter that is silent while the tank is filled again and again is not believed, and is believed again once
// it has counted in step with the tank for a while, with tank volume and without. Source: collector/rig.
func TestALostCounterIsNoticedAndTrustedAgain(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for _, seed := range []uint64{101, 102, 104, 105, 107, 109, 110, 112} {
		for _, tank := range []bool{true, false} {
			t.Run(fmt.Sprintf("%d/tank=%v", seed, tank), func(t *testing.T) {
				s := draw.Steady(seed, []float64{100, 50, 20}[(seed/3)%3])
				if !tank {
					s.Plate.TankVolume = 0
				}
				lost, again := lostCounter(s)
				t.Logf("noticed after %g s, trusted again after %g s", lost-diesAt, again-wakesAt)
				if lost < diesAt || lost > diesAt+heard || again < wakesAt || again > wakesAt+heard {
					t.Errorf("silent from %d to %d s: not believed from %g to %g s", diesAt, wakesAt, lost, again)
				}
			})
		}
	}
}

// lostCounter returns when the counter was first not believed, and when it was at last again, s.
func lostCounter(s rig.Spec) (lost, again float64) {
	held, gone := 0.0, 0.0
	playPlant(s, surroundings{}, wakesAt+heard+60, func(t float64, _ *rig.Station, blocks []station.Block) {
		for i := range blocks {
			b := &blocks[i]
			if b.Channel != station.Cycles {
				continue
			}
			for k := range b.Values {
				switch {
				case t < diesAt:
					held = b.Values[k]
				case t < wakesAt:
					gone, b.Values[k] = b.Values[k]-held, held
				default:
					b.Values[k] -= gone
				}
			}
		}
	}, func(u *pipeline.Unit) {
		at := float64(u.Status.At.Sub(rigStart)) * 1e-9
		serves := u.Status.StrokeRate.Method == station.MethodBoth || u.Status.StrokeRate.Method == station.MethodCounter
		switch {
		case at < 60:
		case !serves && lost == 0:
			lost, again = at, 0
		case !serves:
			again = 0
		case lost > 0 && again == 0:
			again = at
		}
	})
	return lost, again
}
