// Package signal holds robust numerics for measured series: levels, hysteresis, periods,
// noise and trends. Pure functions; series are slices of equal length, times in s.
package signal

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"
)

// Quantile gives the p-quantile (0..1) of x by linear interpolation between order
// statistics, NaN for an empty x. x is not changed.
func Quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	at := p * float64(len(s)-1)
	i := int(math.Floor(at))
	switch {
	case i < 0:
		return s[0]
	case i >= len(s)-1:
		return s[len(s)-1]
	}
	return s[i] + (at-float64(i))*(s[i+1]-s[i])
}

// Median gives the median of x, NaN for an empty x.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// Noise gives the standard deviation of white noise in x from its first differences,
//
//	s = 1.4826 median|d|/sqrt(2)
//
// so that slow change and a few jumps do not count. NaN for fewer than three values.
// 1.4826 is the ratio of standard deviation and median absolute deviation of a normal
// distribution (from memory).
func Noise(x []float64) float64 {
	if len(x) < 3 {
		return math.NaN()
	}
	d := make([]float64, len(x)-1)
	for i := range d {
		d[i] = math.Abs(x[i+1] - x[i])
	}
	return 1.4826 * Median(d) / math.Sqrt2
}

// Band gives two levels inside the range of x: at the shares low and high (0..1) of the
// way from its 1 % to its 99 % quantile, which single outliers do not move.
func Band(x []float64, low, high float64) (lo, hi float64) {
	a, b := Quantile(x, 0.01), Quantile(x, 0.99)
	return a + low*(b-a), a + high*(b-a)
}

// Rises gives the indices at which x rises to high or above after it was at low or below.
// A series counts as having been low before it began: a recording that begins inside a
// run has that run.
func Rises(x []float64, low, high float64) []int {
	var out []int
	armed := true
	for i, v := range x {
		switch {
		case v <= low:
			armed = true
		case v >= high && armed:
			out = append(out, i)
			armed = false
		}
	}
	return out
}

// Periods gives the times between rises at the indices at.
func Periods(t []float64, at []int) []float64 {
	var out []float64
	for i := 1; i < len(at); i++ {
		out = append(out, t[at[i]]-t[at[i-1]])
	}
	return out
}

// Turns gives the indices of the turning points of x between which it moves by more than
// swing: alternating tops and bottoms, the first extreme included once it is confirmed.
func Turns(x []float64, swing float64) []int {
	var out []int
	if len(x) == 0 {
		return nil
	}
	top, low, dir := 0, 0, 0
	for i, v := range x {
		if v > x[top] {
			top = i
		}
		if v < x[low] {
			low = i
		}
		switch {
		case dir >= 0 && x[top]-v > swing:
			out = append(out, top)
			dir, low = -1, i
		case dir <= 0 && v-x[low] > swing:
			out = append(out, low)
			dir, top = 1, i
		}
	}
	return out
}

// Trend is a straight line y = Intercept + Slope t.
type Trend struct {
	Intercept, Slope float64
	Residual         float64 // standard deviation of the residuals, 0 with two points
}

// Line gives the least-squares line, and false for fewer than two points or equal times.
func Line(t, y []float64) (Trend, bool) {
	if len(t) != len(y) || len(t) < 2 || stat.Variance(t, nil) == 0 {
		return Trend{}, false
	}
	a, b := stat.LinearRegression(t, y, nil, false)
	r := Trend{Intercept: a, Slope: b}
	if len(t) > 2 {
		var ss float64
		for i := range t {
			e := y[i] - a - b*t[i]
			ss += e * e
		}
		r.Residual = math.Sqrt(ss / float64(len(t)-2))
	}
	return r, true
}

// pairs bounds the pairs of TheilSen; above it every k-th point is taken.
const pairs = 500_000

// TheilSen gives the median of the slopes of all pairs of points and the median
// intercept: up to 29 % of outliers do not move it far. Series of more than a thousand
// points are thinned evenly, so that it stays within half a million pairs. False for
// fewer than two points or equal times.
func TheilSen(t, y []float64) (Trend, bool) {
	if len(t) != len(y) || len(t) < 2 {
		return Trend{}, false
	}
	step := int(math.Ceil(float64(len(t)) / math.Sqrt(2*pairs)))
	var slopes []float64
	for i := 0; i < len(t); i += step {
		for j := i + step; j < len(t); j += step {
			if t[j] != t[i] {
				slopes = append(slopes, (y[j]-y[i])/(t[j]-t[i]))
			}
		}
	}
	if len(slopes) == 0 {
		return Trend{}, false
	}
	r := Trend{Slope: Median(slopes)}
	rest := make([]float64, len(t))
	for i := range t {
		rest[i] = y[i] - r.Slope*t[i]
	}
	r.Intercept = Median(rest)
	return r, true
}
