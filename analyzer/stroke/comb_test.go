package stroke

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The comb finds the period of pulses that are weaker than the noise, with unlike sides
// too, and none in noise alone.
func TestComb(t *testing.T) {
	for _, c := range []struct {
		name          string
		a, b, noise   float64
		period, error float64
	}{
		{"clear", 8, 8, 0.5, 37.3, 0.01},
		{"unlike sides", 8, 5, 0.5, 37.3, 0.01},
		{"in noise", 4, 4, 2, 37.3, 0.03},
		{"noise alone", 0, 0, 2, 0, 0},
	} {
		r := rand.New(rand.NewPCG(5, 5))
		var comb Comb
		comb.Restart(100, 3)
		for area := 100.0; area < 100+3*600; area += 0.5 {
			n := math.Floor((area - 100) / 37.3)
			into := (area - 100) - n*37.3
			v := c.noise * r.NormFloat64()
			if into < 6 {
				if int(n)%2 == 0 {
					v += c.a
				} else {
					v += c.b
				}
			}
			comb.Put(area, 600e3-100*v, 900e3+50*c.noise*r.NormFloat64())
		}
		if !comb.Due() {
			t.Fatalf("%s: %d bins", c.name, comb.Levels[0].N)
		}
		comb.Judge(0)
		if math.Abs(comb.Period-c.period) > c.error*c.period {
			t.Errorf("%s: period %.2f, strength %.2f, want %.2f", c.name, comb.Period, comb.Strength, c.period)
		}
	}
}

// Whatever the lags look like, refining ends near the lag that it began with.
func TestRefineEnds(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for range 2000 {
		v := make([]float64, 5+r.IntN(170))
		for i := range v {
			v[i] = r.NormFloat64()
		}
		for l := 3; l+1 < len(v); l++ {
			if v[l] > v[l-1] && v[l] >= v[l+1] {
				if got := refine(v, l); math.Abs(got-float64(l)) > 1 {
					t.Fatalf("lag %d became %g", l, got)
				}
			}
		}
	}
}
