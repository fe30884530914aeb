package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
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
	// The certified standard deviations of b0 and b1, from memory; they fit the data.
	near(t, "Norris sd of b0", r.InterceptErr, 0.232818234301152, 1e-11)
	near(t, "Norris sd of b1", r.SlopeErr, 0.429796848199937e-3, 1e-11)
}

// Two points fit any line: how well is not known, and not 0.
func TestTwoPointsSayNothingOfTheError(t *testing.T) {
	for _, f := range []func(t, y []float64) (Trend, bool){Line, TheilSen} {
		r, ok := f([]float64{1, 3}, []float64{2, 8})
		if !ok || r.Slope != 3 || r.Intercept != -1 {
			t.Errorf("got %+v, want y = 3 t - 1", r)
		}
		if !math.IsNaN(r.Residual) || !math.IsNaN(r.SlopeErr) || !math.IsNaN(r.InterceptErr) {
			t.Errorf("errors %+v, want NaN", r)
		}
	}
}

// A standard error must hold the truth as often as it says: within 1.645 of them nine
// times in ten.
func TestSlopeErrHoldsTheTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	held := 0
	for range 2000 {
		var x, y []float64
		for i := range 100 {
			x, y = append(x, float64(i)), append(y, 7-0.2*float64(i)+3*r.NormFloat64())
		}
		if l, _ := Line(x, y); math.Abs(l.Slope+0.2) < 1.645*l.SlopeErr {
			held++
		}
	}
	if held < 1750 || held > 1850 { // 1800 +- 3.7 standard deviations
		t.Errorf("held the truth %d times in 2000", held)
	}
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

// Long lags make the slope sharp: with the pairs of a long series spread over its length it
// is nearly as good as least squares on the same white noise (which is the best there is),
// and that is as good as theory has it, s sqrt(12)/n^1.5.
func TestTheilSenOfALongSeriesIsSharp(t *testing.T) {
	const n, runs = 2_000, 15
	r := rand.New(rand.NewPCG(7, 8))
	var sen, line float64
	for range runs {
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = float64(i), r.NormFloat64()
		}
		a, _ := TheilSen(x, y)
		b, _ := Line(x, y)
		near(t, "standard error", b.SlopeErr, math.Sqrt(12)/math.Pow(n, 1.5), 0.08)
		sen, line = sen+a.Slope*a.Slope, line+b.Slope*b.Slope
	}
	ratio := math.Sqrt(sen / line)
	t.Logf("rms error %.3f times that of least squares", ratio)
	if ratio > 1.15 {
		t.Errorf("rms error of the slope %.3f times that of least squares", ratio)
	}
}

// Outliers at random places and, the harder case, at every k-th point, where a choice of
// every k-th point would see nothing else.
func TestTheilSenOfALongSeriesIsRobust(t *testing.T) {
	for _, every := range []int{0, 5, 20, 25} {
		r := rand.New(rand.NewPCG(1, 2))
		var x, y []float64
		for i := range 20_000 {
			v := 3 + 0.5*float64(i) + r.NormFloat64()
			if every == 0 && r.IntN(5) == 0 || every > 0 && i%every == 0 {
				v += 3*float64(i) + 1e6*r.NormFloat64()
			}
			x, y = append(x, float64(i)), append(y, v)
		}
		got, _ := TheilSen(x, y)
		near(t, "slope", got.Slope, 0.5, 0.002)
	}
}

// The bound that the docstring states.
func TestTheilSenStaysWithinItsPairs(t *testing.T) {
	for _, n := range []int{2, 999, 1000, 1001, 1500, 20_000, 200_000} {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i)
		}
		got := len(pairSlopes(x, x))
		if got > max(500_000, 8*n) || n > 1000 && got < 450_000 || n <= 1000 && got != n*(n-1)/2 {
			t.Errorf("%d points: %d pairs", n, got)
		}
	}
}

// 1/normal is the 75 % quantile of the normal distribution.
func TestNormalRatio(t *testing.T) {
	near(t, "ratio", normal, 1/(math.Sqrt2*math.Erfinv(0.5)), 1e-12)
}

func TestQuantiles(t *testing.T) {
	x := []float64{5, 1, 4, 2, 3}
	for p, want := range map[float64]float64{0: 1, 0.25: 2, 0.5: 3, 0.6: 3.4, 1: 5} {
		near(t, "quantile", Quantile(x, p), want, 1e-12)
	}
	if !slices.Equal(x, []float64{5, 1, 4, 2, 3}) {
		t.Error("the input was changed")
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("the median of nothing is a number")
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
