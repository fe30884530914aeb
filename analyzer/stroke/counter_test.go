package stroke

import (
	"testing"

	"strokewise/analyzer/station"
)

// readings feeds a counter of cycles one reading a step and gives the sum.
func readings(step int64, values ...float64) (int64, *Counter) {
	c := NewCounter(&station.Plate{})
	sum := int64(0)
	for i, v := range values {
		sum += c.Push(station.Instant(int64(i)*step), v)
	}
	return sum, &c
}

func TestCounterCounts(t *testing.T) {
	for _, tc := range []struct {
		name   string
		step   int64
		values []float64
		want   int64
	}{
		{"first reading is a base, not a count", station.Second, []float64{5000, 5000}, 0},
		{"plain", station.Second, []float64{5, 6, 6, 8}, 3},
		{"reset to zero keeps counting", station.Second, []float64{900, 901, 0, 1, 2}, 3},
		{"reset to a small count that ran since", station.Second, []float64{900, 901, 2, 3}, 4},
		{"reset to an older stored count invents nothing", station.Second, []float64{900, 901, 500, 501}, 2},
		{"roll-over at 2^16", station.Second, []float64{65534, 65535, 1, 2}, 4},
		{"roll-over at 10000", station.Second, []float64{9998, 9999, 0, 1}, 3},
		{"slip back by one", station.Second, []float64{10, 11, 10, 11, 12}, 2},
		{"bounce: ten counts in one sample of 10 ms", 10 * station.Millisecond, []float64{10, 10, 20, 20}, 1},
		{"after a long gap many cycles are real", 60 * station.Second, []float64{10, 110}, 100},
	} {
		if got, _ := readings(tc.step, tc.values...); got != tc.want {
			t.Errorf("%s: got %d increments, want %d", tc.name, got, tc.want)
		}
	}
}

func TestCounterNeverExceedsRate(t *testing.T) {
	c := NewCounter(&station.Plate{})
	sum := int64(0)
	for i := range 1000 { // a switch that chatters: a count every 10 ms for 10 s
		sum += c.Push(station.Instant(int64(i)*10*station.Millisecond), float64(i))
	}
	if limit := int64(10*overRate*MaxRate/2) + 2; sum > limit {
		t.Errorf("chatter gave %d cycles in 10 s, limit %d", sum, limit)
	}
	if c.Bounced == 0 {
		t.Error("bounce was not counted")
	}
}

// An unloaded piston makes 9.5 strokes a second in recordings of two independent models, whatever the plate states
// for the loaded one: at 20 and 10 readings a second none is taken for a bounce.
func TestASteadyRateAboveTheHighestIsCounted(t *testing.T) {
	for _, step := range []int64{10, 50, 100, 1000} {
		for _, stated := range []float64{0, 3} {
			c := NewCounter(&station.Plate{MaxRate: stated})
			sum, made := int64(0), 0.0
			for i := range 20000 / step {
				made = float64(i*step) * 1e-3 * 9.5 / 2
				sum += c.Push(station.Instant(i*step)*ms, float64(int64(made)))
			}
			if sum != int64(made) {
				t.Errorf("read every %d ms, %g /s stated: %d increments of %d, bounced %d", step, stated, sum, int64(made), c.Bounced)
			}
		}
	}
}

// A contact that bounces within some ms counts twice in one reading (common practice, no source).
func TestBounceIsDropped(t *testing.T) {
	for _, step := range []int64{10, 50, 100} {
		c := NewCounter(&station.Plate{})
		sum, shown := int64(0), 0.0
		for i := range 20000 / step {
			if i*step%700 == 0 {
				shown += 2
			}
			sum += c.Push(station.Instant(i*step)*ms, shown)
		}
		if want := int64(20000/700) + 1; sum > want || sum < want-2 {
			t.Errorf("read every %d ms: %d increments of %d", step, sum, want)
		}
	}
}
