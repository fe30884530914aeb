package rules

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// A trend looks back over five minutes in bins of 10 s (common practice, no source).
const (
	trendBin  = 10 * station.Second
	trendBins = 30
)

// turned is by how much, Pa/s, the last half minute must differ from the five minutes to be the
// trend: 100 kPa/min, above what the teeth of strokes leave in bins of 10 s and below what venting
// makes (own choice, no source). A third more or less moves by some seconds when a fall that began
// or ended is seen.
const turned = 100e3 / 60

// fast is the slope, Pa/s, of a fall or rise whose end is looked for in the last half minute: 10 kPa/min
// (own choice, no source). What is slower says little wrong while the five minutes go by.
const fast = 10e3 / 60

// bin is the sum of the readings of 10 s.
type bin struct {
	Sum float64
	N   int32
}

// trend keeps a pressure's means of the last five minutes. Fields are exported for snapshots
// only.
type trend struct {
	Newest int64 // number of the newest bin since 1970
	Bins   [trendBins]bin
}

// step adds one reading; an unknown one only lets time pass.
func (t *trend) step(at station.Instant, e *station.Estimate) {
	n := int64(at) / trendBin
	if n < t.Newest || n-t.Newest >= trendBins {
		*t = trend{Newest: n}
	}
	for ; t.Newest < n; t.Newest++ {
		t.Bins[(t.Newest+1)%trendBins] = bin{}
	}
	if b := &t.Bins[n%trendBins]; e.Known() && finite(e.Value) {
		b.Sum += e.Value
		b.N++
	}
}

// slope returns the change per second, Pa/s, NaN where less than a minute was read: over five
// minutes, or over the last half minute where a fall or rise has begun or ended.
func (t *trend) slope() float64 {
	long := t.slopeOver(trendBins/2, 2, 4)
	short := t.slopeOver(4, 1, 4)
	if math.Abs(short-long) > turned || math.Abs(long) > fast && math.Abs(short) < math.Abs(long)/4 {
		return short
	}
	return long
}

// slopeOver returns the median of the slopes between all pairs of the last groups of so many bins,
// NaN where fewer groups than least have readings.
func (t *trend) slopeOver(groups, bins int64, least int) float64 {
	var mean, at [trendBins / 2]float64 // s before the newest bin
	n := 0
	for g := range groups {
		sum := bin{}
		for i := range bins {
			b := &t.Bins[((t.Newest-g*bins-i)%trendBins+trendBins)%trendBins]
			sum.Sum += b.Sum
			sum.N += b.N
		}
		if sum.N > 0 {
			mean[n], at[n] = sum.Sum/float64(sum.N), float64(-g*bins*trendBin)*1e-9
			n++
		}
	}
	if n < least {
		return math.NaN()
	}
	return medianSlope(at[:n], mean[:n])
}

// medianSlope returns the median of (y_j - y_i)/(x_j - x_i) over all pairs.
func medianSlope(x, y []float64) float64 {
	var slopes [trendBins / 2 * (trendBins/2 - 1) / 2]float64
	n := 0
	for i := range x {
		for j := range i {
			slopes[n] = (y[j] - y[i]) / (x[j] - x[i])
			n++
		}
	}
	slices.Sort(slopes[:n])
	return (slopes[(n-1)/2] + slopes[n/2]) / 2
}
