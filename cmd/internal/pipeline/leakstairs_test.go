package pipeline_test

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// Cylinders that fire at their own pace on a large tank are made up by even rounds of strokes, as a leak
// is. Between them the outlet stands still: stairs, not a slope. The stations are tight.
func TestCylindersOnALargeTankAreNoLeak(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ litres, period, use float64 }{{170, 6, 8}, {170, 9, 8}, {250, 9, 8}, {250, 6, 14}} {
		s := leaky(c.litres, 0, 300, 7200, 3)
		s.Rhythm = rig.Rhythm{Flow: c.use * 1e-3 / 0.9, Period: c.period, Share: 0.9 / c.period, Vary: 0.05}
		u := seen(s, 1500, nil)
		leak := &u.Status.Estimates[station.LeakFlow]
		if resultOf(u).raised[rules.OutletLeak] > 0 || leak.Known() && leak.Value > 2./60e3 {
			t.Errorf("%g L ANR every %g s out of %g L: a leak of %.1f L/min is told", c.use, c.period, c.litres, leak.Value*60e3)
		}
	}
}
