package signal

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/deploy/peers"
)

// oneSeries is a series as SciPy is given it.
type oneSeries struct {
	T []float64 `json:"t"`
	Y []float64 `json:"y"`
}

// Slopes, their intervals, tau and p are those of SciPy's theilslopes, kendalltau and linregress
// on the same data: noise, ties, outliers, uneven times, and weeks.
func TestTrendsAgreeWithScipy(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	var all []oneSeries
	for _, n := range []int{8, 11, 30, 56, 84, 200} {
		for kind := range 4 {
			var s oneSeries
			at := 0.0
			for i := range n {
				at++
				if kind == 3 {
					at += 3 * r.Float64()
				}
				v := 0.02*float64(i) + r.NormFloat64()
				if kind == 1 {
					v = math.Round(v)
				}
				if kind == 2 && r.IntN(6) == 0 {
					v += 50
				}
				s.T, s.Y = append(s.T, at), append(s.Y, v)
			}
			all = append(all, s)
		}
	}
	var got []struct{ Sen, Low, High, Tau, P, Slope, SlopeErr, Intercept, InterceptErr float64 }
	peers.Scipy(t, `
from scipy import stats
answer = []
for s in given:
    a = stats.theilslopes(s["y"], s["t"], 0.9)
    k = stats.kendalltau(s["t"], s["y"], method="asymptotic")
    l = stats.linregress(s["t"], s["y"])
    answer.append(dict(Sen=a[0], Low=a[2], High=a[3], Tau=k[0], P=k[1], Slope=l.slope, SlopeErr=l.stderr, Intercept=l.intercept, InterceptErr=l.intercept_stderr))
`, all, &got)
	for i, s := range all {
		w := got[i]
		sen, ok := Sen(s.T, s.Y, nil, 1)
		line, _ := Line(s.T, s.Y)
		robust, _ := TheilSen(s.T, s.Y)
		if !ok {
			t.Fatalf("series %d has no slope", i)
		}
		near(t, "Theil-Sen", sen.Value, w.Sen, 1e-12)
		near(t, "Theil-Sen of TheilSen", robust.Slope, w.Sen, 1e-12)
		near(t, "low", sen.Low, w.Low, 1e-12)
		near(t, "high", sen.High, w.High, 1e-12)
		near(t, "tau", sen.Tau, w.Tau, 1e-12)
		near(t, "p without the correction for continuity", math.Erfc(math.Abs(sen.S)/math.Sqrt(2*sen.Var)), w.P, 1e-9)
		near(t, "slope", line.Slope, w.Slope, 1e-9)
		near(t, "its error", line.SlopeErr, w.SlopeErr, 1e-9)
		near(t, "intercept", line.Intercept, w.Intercept, 1e-9)
		near(t, "its error", line.InterceptErr, w.InterceptErr, 1e-9)
	}
}
