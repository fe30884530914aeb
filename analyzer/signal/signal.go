// Package signal holds robust numerics for measured series: levels, hysteresis, periods,
// noise and trends. Pure functions that leave their inputs as they are; series are slices
// of equal length. Values should be finite: others make the outcome meaningless, but no
// function panics on them.
package signal

import (
	"math"
	"sort"
)

// Quantile gives the p-quantile of x by linear interpolation between order statistics,
//
//	x(i) + (p(n-1) - i)(x(i+1) - x(i)), i = floor(p(n-1))
//
// with x(0) the smallest: type 7 of Hyndman and Fan (from memory). p below 0 gives the
// smallest, above 1 the largest value; an empty x gives NaN.
func Quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	return quantile(s, p)
}

// quantile is Quantile for a sorted s that is not empty.
func quantile(s []float64, p float64) float64 {
	at := p * float64(len(s)-1)
	switch {
	case !(at > 0):
		return s[0]
	case at >= float64(len(s)-1):
		return s[len(s)-1]
	}
	i := int(at)
	return s[i] + (at-float64(i))*(s[i+1]-s[i])
}

// Median gives the median of x, NaN for an empty x.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// normal is the ratio of standard deviation and median absolute deviation of a normal
// distribution, 1/0.6745 (from memory; a test computes it).
const normal = 1.482602218505602

// spread gives the standard deviation of x about centre from the median absolute
// deviation, as if x were normal.
func spread(x []float64, centre float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - centre)
	}
	return normal * Median(d)
}

// Noise answers how much x jitters from sample to sample, whatever its slow course: the
// standard deviation of white noise from the first differences d,
//
//	s = 1.4826 median|d - median d| / sqrt(2)
//
// in the unit of x, so that neither a steady ramp nor a few jumps count for much. NaN for
// fewer than three values. 0 where more than half of the steps are equal: a coarse sensor
// that mostly repeats itself shows no noise here, and the step of its converter must
// serve. Noise that is smoothed before sampling comes out too small. Common practice, no
// source.
func Noise(x []float64) float64 {
	if len(x) < 3 {
		return math.NaN()
	}
	d := make([]float64, len(x)-1)
	for i := range d {
		d[i] = x[i+1] - x[i]
	}
	return spread(d, Median(d)) / math.Sqrt2
}

// Band gives two levels inside the range of x,
//
//	low = a + lowShare (b - a), high = a + highShare (b - a)
//
// a and b its 1 % and 99 % quantiles, which a few outliers do not move; shares 0..1, 1.
// NaN for an empty x, equal levels for a constant one. A state that x holds for less than
// 1 % of the time is outside the range. Common practice, no source.
func Band(x []float64, lowShare, highShare float64) (low, high float64) {
	if len(x) == 0 {
		return math.NaN(), math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	a, b := quantile(s, 0.01), quantile(s, 0.99)
	return a + lowShare*(b-a), a + highShare*(b-a)
}
