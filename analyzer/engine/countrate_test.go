package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// A counter of cycles that counts 7 a second, 14 strokes, is 14/12 of the 8 strokes a second that are
// expected and half as many more: 17 % above, or 75 % above where the limit is 8.
func TestCountExcessIsTold(t *testing.T) {
	e := New(testPlate(), &discard{})
	rows := func(rate float64, from, to int) (out []sample) {
		for i := from * 20; i < to*20; i++ {
			at := t0.Add(int64(i) * 50 * station.Millisecond)
			out = append(out, sample{station.InletPressure, at, 600e3}, sample{station.OutletPressure, at, 850e3},
				sample{station.Cycles, at, math.Floor(rate * float64(i) / 20)})
		}
		return out
	}
	run(e, rows(3, 0, 60), 2)
	if g := &e.Est[station.CountExcess]; !g.Known() || g.Value != 0 {
		t.Errorf("6 strokes a second: %+v", g)
	}
	e = New(testPlate(), &discard{})
	run(e, rows(7, 0, 60), 2)
	want := 14/(2*e.Counter.Limit()) - 1
	if g := &e.Est[station.CountExcess]; math.Abs(g.Value-want) > 0.05 || want < 0.1 {
		t.Errorf("14 strokes a second: %+v, want %.2f", g, want)
	}
	if n := e.Counter.Bounced; n > 1 {
		t.Errorf("%d strokes are still taken for bounce", n)
	}
}
