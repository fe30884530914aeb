package signal

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// Trend is a straight line
//
//	y = Intercept + Slope t
//
// in the units of y and t. What is not known is NaN, never 0: a standard error of 0 would
// claim certainty.
type Trend struct {
	Intercept    float64 // y at t = 0
	Slope        float64 // y a unit of t
	Residual     float64 // standard deviation of the residuals, y; NaN with two points
	SlopeErr     float64 // standard error of Slope; NaN with two points and from TheilSen
	InterceptErr float64 // standard error of Intercept; likewise
}

// Line answers how y runs with t by least squares, every point with the same weight:
//
//	Slope        = Sty/Stt, Intercept = my - Slope mt
//	Residual     = sqrt(sum e²/(n-2))
//	SlopeErr     = Residual/sqrt(Stt)
//	InterceptErr = Residual sqrt(1/n + mt²/Stt)
//
// mt, my means, Stt, Sty sums of squares and products about them, e residuals. The errors
// assume independent residuals of equal spread: for samples that follow each other closely
// they come out too small. It is false for slices of unequal length, fewer than two points
// or equal times; values that are not finite give a Trend that is not. The formulas are
// those of any text book (from memory), their values checked on NIST StRD Norris.
func Line(t, y []float64) (Trend, bool) {
	n := len(t)
	if n != len(y) || n < 2 || stat.Variance(t, nil) == 0 {
		return Trend{}, false
	}
	a, b := stat.LinearRegression(t, y, nil, false)
	r := Trend{Intercept: a, Slope: b, Residual: math.NaN(), SlopeErr: math.NaN(), InterceptErr: math.NaN()}
	if n == 2 {
		return r, true
	}
	mt, my := stat.Mean(t, nil), stat.Mean(y, nil)
	var ss, stt float64
	for i := range t {
		d := t[i] - mt // about the mean: the residual keeps its digits where t is large
		e := y[i] - my - b*d
		ss += e * e
		stt += d * d
	}
	r.Residual = math.Sqrt(ss / float64(n-2))
	r.SlopeErr = r.Residual / math.Sqrt(stt)
	r.InterceptErr = r.Residual * math.Sqrt(1/float64(n)+mt*mt/stt)
	return r, true
}

// Bounds of TheilSen.
const (
	allPairs = 500_000 // pairs of up to 1,000 points; more points share about as many
	minLags  = 8       // pairs that begin at a point, at least
	golden   = 0.6180339887498949
)

// TheilSen answers how y runs with t whatever single points do: Slope is the median of
// the slopes between pairs of points, Intercept the median of y - Slope t, Residual
// 1.4826 times the median absolute deviation of those; the standard errors are NaN.
// Fewer than 29 % of outliers cannot carry the slope off (Sen 1968, from memory).
//
// Up to 1,000 points all pairs count. Of more, each point is paired with those at the same
// max(8, 500,000/n) lags, spread over the whole length by the golden ratio and running
// round the end: every point has the same say, a period of the series cannot fall in step
// with the choice as it can with every k-th point, and the outcome is the same on every
// run. That makes at most max(500,000, 8n) pairs.
//
// It is false for slices of unequal length, fewer than two points or equal times. Values
// must be finite.
func TheilSen(t, y []float64) (Trend, bool) {
	if len(t) != len(y) || len(t) < 2 {
		return Trend{}, false
	}
	slopes := pairSlopes(t, y)
	if len(slopes) == 0 {
		return Trend{}, false
	}
	r := Trend{Slope: Median(slopes), SlopeErr: math.NaN(), InterceptErr: math.NaN()}
	rest := make([]float64, len(t))
	for i := range t {
		rest[i] = y[i] - r.Slope*t[i]
	}
	r.Intercept = Median(rest)
	r.Residual = spread(rest, r.Intercept)
	if len(t) == 2 {
		r.Residual = math.NaN()
	}
	return r, true
}

// pairSlopes gives the slopes of the pairs that TheilSen counts.
func pairSlopes(t, y []float64) []float64 {
	n := len(t)
	if n*(n-1)/2 > allPairs {
		return laggedSlopes(t, y, max(minLags, allPairs/n))
	}
	out := make([]float64, 0, n*(n-1)/2)
	for i := range t {
		for j := i + 1; j < n; j++ {
			if t[j] != t[i] {
				out = append(out, (y[j]-y[i])/(t[j]-t[i]))
			}
		}
	}
	return out
}

// laggedSlopes gives the slopes between each point and those at the given number of lags.
func laggedSlopes(t, y []float64, lags int) []float64 {
	n := len(t)
	out := make([]float64, 0, n*lags)
	for k := range lags {
		_, share := math.Modf(float64(k+1) * golden)
		lag := 1 + int(share*float64(n-1))
		for i := range t {
			j := (i + lag) % n
			if t[j] != t[i] {
				out = append(out, (y[j]-y[i])/(t[j]-t[i]))
			}
		}
	}
	return out
}
