package stroke

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// counting feeds a counter of cycles with readings a second, of a rate a second of event time, and returns
// what it counts in so many seconds.
func counting(c *Counter, hz, seconds int, count func(t float64) float64) int64 {
	sum := int64(0)
	for i := range hz * seconds {
		t := float64(i) / float64(hz)
		sum += c.Push(station.Instant(t*1e9), math.Floor(count(t)))
	}
	return sum
}

func expecting(p station.Plate) Counter {
	c := NewCounter(&p)
	c.Expect(&p)
	return c
}

// A rate that holds is counted, whatever the plate says, and told; the strokes of the time before that
// was clear are not lost. Bounce, at each count or for long, is neither counted nor told.
func TestSteadyRatesAreStrokes(t *testing.T) {
	steady := func(rate float64) func(float64) float64 { return func(t float64) float64 { return 1000 + rate*t } }
	slow := station.Plate{MaxRate: 3} // 1.5 cycles a second
	for _, tc := range []struct {
		name   string
		plate  station.Plate
		hz, s  int
		count  func(float64) float64
		want   int64
		off    int64
		excess bool
	}{
		{"7 cycles a second, 8 strokes expected", station.Plate{}, 100, 60, steady(7), 420, 1, true},
		{"the same, read once a second", station.Plate{}, 1, 60, steady(7), 413, 7, true},
		{"the same, ten times a second", station.Plate{}, 10, 60, steady(7), 420, 1, true},
		{"a plate that is wrong", slow, 50, 60, steady(4), 240, 1, true},
		{"strokes counted as cycles: twice the plate's", slow, 50, 60, steady(3), 180, 1, true},
		{"within the plate", slow, 50, 60, steady(1.4), 84, 1, false},
		{"15 s of it", station.Plate{}, 100, 60, func(t float64) float64 { return 1000 + 7*min(t, 15) }, 75, 15, false}, // the limit of 6 a second lets 90 through at most
		{"a switch that chatters", station.Plate{}, 100, 60, steady(100), 360, 2, false},                                // 6 cycles a second
		{"each count bounces twice within 20 ms", station.Plate{}, 100, 60, func(t float64) float64 {
			n := math.Floor(2.5 * t)
			return 1000 + 3*n + min(2, math.Floor((t-n/2.5)/0.01))
		}, 150, 90, false},
	} {
		c := expecting(tc.plate)
		got := counting(&c, tc.hz, tc.s, tc.count)
		if got < tc.want-tc.off || got > tc.want+tc.off || (c.Excess() > 0) != tc.excess {
			t.Errorf("%s: %d counted, want %d; %.0f %% above the limit, dropped %d", tc.name, got, tc.want, 100*c.Excess(), c.Bounced)
		}
	}
}

// What is told stands while the piston rests and strokes slowly, and ends an hour after.
func TestSteadyRateEnds(t *testing.T) {
	c := expecting(station.Plate{})
	count := func(t float64) float64 { return 7*min(t, 40) + 2*max(0, t-40) }
	for i := range 40000 {
		s := float64(i) / 10
		c.Push(station.Instant(s*1e9), math.Floor(count(s)))
		if told := c.Excess() > 0; s > 26 && s < 3600 && !told || s > 3655 && told {
			t.Fatalf("after %.1f s: %.2f above the limit", s, c.Excess())
		}
	}
}
