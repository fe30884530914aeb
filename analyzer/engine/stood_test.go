package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// While the inlet rests no stroke ends at what consumers do to the outlet: pulses that let it fall in stairs.
// What lies within a second of a run may be its own, and the first rest must have been seen.
func TestStairsOfTheOutletAreNoStrokes(t *testing.T) {
	s, p := filling()
	rows := s.rows(360)
	for i := range rows {
		x := math.Mod(float64(rows[i].t.Sub(t0))*1e-9, suppliedPeriod)
		if stand := suppliedPeriod - suppliedRun; rows[i].v > 700e3 && x < stand { // the outlet
			rows[i].v += s.lift * suppliedStrokes / stand * (x - 0.6*math.Min(math.Floor(x/0.6)+math.Min(1, math.Mod(x, 0.6)/0.1), stand/0.6))
		}
	}
	var r recorder
	e := New(p, &r)
	run(e, rows, 1)
	e.Flush()
	wrong, inRuns := 0, 0
	for _, k := range r.Strokes {
		x := math.Mod(float64(k.At.Sub(t0))*1e-9, suppliedPeriod)
		if k.At.Sub(t0) < 3*station.Second {
			continue
		}
		if x > 1 && x < suppliedPeriod-suppliedRun-1 {
			wrong++
		} else {
			inRuns++
		}
	}
	t.Logf("%d strokes in the runs of %g, %d where the piston stands", inRuns, 15*suppliedStrokes, wrong)
	if wrong > 0 || math.Abs(float64(inRuns)/(15*suppliedStrokes)-1) > 0.05 {
		t.Errorf("%d strokes in the runs of %g, %d where the piston stands", inRuns, 15*suppliedStrokes, wrong)
	}
}
