// Package signal holds robust numerics for measured series: quantiles, slopes, jumps and
// their onset. Pure functions that leave their inputs as they are; series are slices
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
