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
	if limit := int64(10*MaxRate/2) + 2; sum > limit {
		t.Errorf("chatter gave %d cycles in 10 s, limit %d", sum, limit)
	}
	if c.Bounced == 0 {
		t.Error("bounce was not counted")
	}
}
