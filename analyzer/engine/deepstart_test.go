package engine

import "testing"

// Starts of a governor with a set of 1000 kPa that opens at 900: three alike tell it, 0 until then.
func TestStartsFarBelowSet(t *testing.T) {
	const set = 1000e3
	for _, c := range []struct {
		name   string
		starts []float64
		want   float64 // kPa, the last answer
	}{
		{"two", []float64{900e3, 901e3}, 0},
		{"three alike", []float64{900e3, 900e3, 900e3}, 900},
		{"one that was not seen to go on does not count against three", []float64{900e3, 900e3, 900e3, 940e3, 900e3}, 900},
		{"three others do", []float64{900e3, 900e3, 900e3, 940e3, 940e3, 940e3}, 0},
		{"lower than thought: it stood where it was taken to start", []float64{940e3, 900e3, 900e3}, 0},
		{"and once it has started there three times", []float64{940e3, 900e3, 900e3, 900e3}, 900},
		{"lower than any governor opens: 15 % below set", []float64{840e3, 840e3, 840e3}, 0},
	} {
		var d deepStart
		got := 0.0
		for _, p := range c.starts {
			got = d.start(p, set) / 1e3
		}
		if got != c.want {
			t.Errorf("%s: %.1f kPa, expected %.1f", c.name, got, c.want)
		}
	}
	for _, d := range []deepStart{{Weak: true}, {Steep: 11e3}} { // 1 % of set are 10 kPa
		for range 5 {
			if d.start(900e3, set) != 0 {
				t.Errorf("%+v: told by starts that prove nothing", d)
			}
		}
	}
}
