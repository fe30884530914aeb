package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Abs(want) {
		t.Errorf("%s: got %.15g, want %.15g within %.2g", what, got, want, tol)
	}
}

// NIST StRD Norris, linear fit: certified b0, b1 and residual standard deviation (seen).
// The 36 observations are from memory; that the certified values come out to 1e-11
// confirms them.
func TestLineOnNorris(t *testing.T) {
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
		556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
		557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	r, ok := Line(x, y)
	if !ok {
		t.Fatal("no line")
	}
	near(t, "Norris b0", r.Intercept, -0.262323073774029, 1e-11)
	near(t, "Norris b1", r.Slope, 1.00211681802045, 1e-11)
	near(t, "Norris s", r.Residual, 0.884796396144373, 1e-11)
}

// EPA QA/G-9S: Sen's slope of eleven yearly values with ties is 1.0 (seen, computed).
func TestTheilSenOnTheEPAExample(t *testing.T) {
	y := []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}
	x := make([]float64, len(y))
	for i := range x {
		x[i] = float64(i)
	}
	r, ok := TheilSen(x, y)
	if !ok {
		t.Fatal("no slope")
	}
	near(t, "Sen's slope", r.Slope, 1.0, 1e-12)
}

// US Navy manual MO-209: Theil-Sen slope of the losses over mid-pressure 0.620 (computed
// independently from the table).
func TestTheilSenOnALeakTable(t *testing.T) {
	r, _ := TheilSen([]float64{85, 75, 65, 55, 45, 35, 25}, []float64{40, 34, 28, 21, 15, 9, 3})
	near(t, "slope", r.Slope, 0.620, 0.02)
}

func TestTheilSenOfALongSeriesIsThinnedAndRobust(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var x, y []float64
	for i := range 20_000 {
		v := 3 + 0.5*float64(i) + r.NormFloat64()
		if i%5 == 0 {
			v += 1e6 // outliers
		}
		x, y = append(x, float64(i)), append(y, v)
	}
	got, _ := TheilSen(x, y)
	near(t, "slope", got.Slope, 0.5, 0.05)
}

func TestNoiseOfASlope(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	x := make([]float64, 20_000)
	for i := range x {
		x[i] = 0.01*float64(i) + 2*r.NormFloat64()
	}
	near(t, "noise", Noise(x), 2, 0.03)
}

func TestQuantiles(t *testing.T) {
	x := []float64{5, 1, 4, 2, 3}
	for p, want := range map[float64]float64{0: 1, 0.25: 2, 0.5: 3, 0.6: 3.4, 1: 5} {
		near(t, "quantile", Quantile(x, p), want, 1e-12)
	}
	if !slices.Equal(x, []float64{5, 1, 4, 2, 3}) {
		t.Error("the input was changed")
	}
	if !math.IsNaN(Median(nil)) || !math.IsNaN(Noise([]float64{1, 2})) {
		t.Error("too few values must give NaN")
	}
}

func TestTurns(t *testing.T) {
	x := []float64{0, 1, 3, 2.5, 5, 1, 1.4, 0, 4}
	if got := Turns(x, 2); !slices.Equal(got, []int{0, 4, 7}) {
		t.Errorf("got %v", got)
	}
}

func TestDegenerateTrends(t *testing.T) {
	for _, f := range []func(t, y []float64) (Trend, bool){Line, TheilSen} {
		for _, c := range [][2][]float64{{nil, nil}, {{1}, {1}}, {{1, 1}, {1, 2}}, {{1, 2}, {1}}} {
			if _, ok := f(c[0], c[1]); ok {
				t.Errorf("a trend of %v", c)
			}
		}
	}
}

// Rises do not change with the unit or the offset of a series, nor with values repeated.
func TestRisesAreInvariant(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-100, 100), 5, 200).Draw(rt, "x")
		k := rapid.Float64Range(0.01, 50).Draw(rt, "scale")
		lo, hi := Band(x, 0.3, 0.7)
		if hi-lo < 1e-6 {
			return
		}
		want := Rises(x, lo, hi)
		var twice []float64
		for _, v := range x {
			twice = append(twice, k*v, k*v)
		}
		got := Rises(twice, k*lo, k*hi)
		if len(got) != len(want) {
			rt.Fatalf("%d rises, scaled and doubled %d", len(want), len(got))
		}
		for i := range got {
			if got[i] != 2*want[i] {
				rt.Fatalf("rise %d at %d, want %d", i, got[i], 2*want[i])
			}
		}
	})
}
