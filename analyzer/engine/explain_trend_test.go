package engine

import (
	"math"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// value gives an input of a figure, NaN where it is none.
func value(x station.Explanation, name string) float64 {
	for _, i := range x.Inputs {
		if i.Name == name && i.Text == "" {
			return i.Value
		}
	}
	return math.NaN()
}

// A line that clogs by a hundredth a day: the daily means of the explanation have the median
// slope (Sen 1968) that the figure states.
func TestDailyMeansGiveTheTrend(t *testing.T) {
	e := New(testPlate(), nil)
	const day = 24 * 60 * station.Minute60
	for d := range 9 {
		for k := range 40 {
			c := 4e-8 * (1 - 0.01*float64(d)) * (1 + 0.01*math.Sin(float64(17*d+k)))
			e.lineUsual(c, station.Instant(int64(20000+d)*day+int64(k)*station.Minute60))
		}
	}
	x := e.Explain(station.SupplyTrend)
	var means, slopes []float64
	for _, i := range x.Inputs {
		if strings.HasPrefix(i.Name, "mean of ") {
			means = append(means, i.Value*1e-8)
		}
	}
	for i := range means {
		for j := range i {
			slopes = append(slopes, (means[i]-means[j])/float64(i-j)/86400)
		}
	}
	slices.Sort(slopes)
	n := len(slopes)
	if !x.Estimate.Known() || n != 28 {
		t.Fatalf("%+v of %d slopes", x.Estimate, n)
	}
	if want := (slopes[n/2] + slopes[(n-1)/2]) / 2; math.Abs(x.Estimate.Value-want) > 1e-6*math.Abs(want) || math.Abs(want*86400/-4e-10-1) > 0.1 {
		t.Errorf("trend %g, its inputs give %g", x.Estimate.Value, want)
	}
}

// Rounds of a booster with a dead volume of 9 %: covariance and variance of the explanation
// give the figure, and that is what was put in.
func TestVarianceGivesTheDeadVolume(t *testing.T) {
	p := testPlate()
	p.TankVolume = 0.03
	e := New(p, nil)
	for k := range 40 {
		f := 0.2 + 0.02*float64(k)
		eta := 1 - 0.09*f - 0.03 + 0.001*math.Sin(float64(13*k))
		e.Recharge.Line.add(f, eta/p.TankVolume, 20)
	}
	e.deadVolume(station.Instant(1e18))
	x := e.Explain(station.DeadVolume)
	want := -value(x, "covariance of x and eta") / value(x, "variance of x")
	if !x.Estimate.Known() || !(math.Abs(x.Estimate.Value-want) < 1e-6) || math.Abs(want-0.09) > 0.003 {
		t.Errorf("dead volume %g (%s), its inputs give %g", x.Estimate.Value, x.Estimate.Reason, want)
	}
}
