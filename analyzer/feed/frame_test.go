package feed

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// The root of chi-square's quantile over its degrees of freedom, from gonum. From the 8 samples of a
// window at 10 Hz on, Wilson and Hilferty's approximation is off by less than 1 %.
func TestStraightLimit(t *testing.T) {
	for _, n := range []float64{8, 10, 16, 50, 80, 100, 400, 1600} {
		want := math.Sqrt(distuv.ChiSquared{K: n - 2}.Quantile(0.999) / (n - 2))
		if got := straightLimit(n); math.Abs(got/want-1) > 0.01 {
			t.Errorf("%g samples: %.4f, gonum %.4f", n, got, want)
		}
	}
}

// A line against gonum's linear regression, and its deviations against the textbook's sums, over
// samples in uneven frames.
func TestFit(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 100 {
		var m frame
		var x, y []float64
		from := 0.0
		for range window {
			var f frame
			for range 1 + rng.IntN(12) {
				in := 0.1 * rng.Float64()
				v := 5e3*rng.NormFloat64() - 22e3*(from+in)
				f.add(in, v)
				x, y = append(x, from+in), append(y, v)
			}
			m.plus(f.shifted(from))
			from += 0.1 + 0.05*rng.Float64()
		}
		l, ok := fit(&m, from)
		a, b := stat.LinearRegression(x, y, nil, false)
		mean, va := stat.MeanVariance(x, nil)
		left := 0.0
		for i := range x {
			left += math.Pow(y[i]-a-b*x[i], 2)
		}
		n := float64(len(x))
		rms, sd := math.Sqrt(left/(n-2)), 1/math.Sqrt(va*(n-1))
		if !ok || !near(l.Slope, b) || !near(l.at(0), a) || !near(l.At, mean) || !near(l.Rms, rms) || !near(l.SlopeSd, sd) || l.N != n {
			t.Fatalf("%+v; gonum: at 0 %g, slope %g, mean time %g, rms %g, slope's deviation %g", l, a, b, mean, rms, sd)
		}
	}
	var few frame
	for i := range 3 {
		few.add(float64(i), 0)
	}
	if _, ok := fit(&few, 3); ok {
		t.Error("three samples have a line")
	}
	if _, ok := fit(&frame{N: 8, T: 8, TT: 8}, 3); ok {
		t.Error("samples of one time have a line")
	}
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6*math.Abs(b)+1e-9 }
