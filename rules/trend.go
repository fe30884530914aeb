package rules

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// A trend looks back over five minutes in bins of 20 s, and is known from a minute of readings
// (common practice, no source). A bin spans several strokes of a working station.
const (
	trendBin   = 20 * station.Second
	trendBins  = 15
	trendLeast = 3 // bins between the oldest and the newest
)

// turned is by how much, Pa/s, the last minute must differ from the five minutes to be the trend:
// 20 kPa/min, above what the teeth of slow strokes leave in bins (own choice, no source). A third
// more or less moves by some seconds when a fall that began or ended is seen.
const turned = 20e3 / 60

// bin is the sum of the readings of 20 s.
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

// step takes one reading; an unknown one only lets time pass.
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

// slope returns the change per second, Pa/s, NaN where too little was read: over five minutes,
// or over the last one where a fall or rise has begun or ended.
func (t *trend) slope() float64 {
	long, short := t.slopeOver(trendBins), t.slopeOver(trendLeast+1)
	if math.Abs(short-long) > turned {
		return short
	}
	return long
}

// slopeOver returns the median of the slopes between all pairs of the last bins.
func (t *trend) slopeOver(bins int64) float64 {
	var slopes [trendBins * (trendBins - 1) / 2]float64
	n, span := 0, int64(0)
	for i := t.Newest - bins + 1; i < t.Newest; i++ {
		for j := i + 1; j <= t.Newest; j++ {
			a, b := &t.Bins[mod(i)], &t.Bins[mod(j)]
			if a.N == 0 || b.N == 0 {
				continue
			}
			slopes[n] = (b.Sum/float64(b.N) - a.Sum/float64(a.N)) / (float64((j-i)*trendBin) * 1e-9)
			span = max(span, j-i)
			n++
		}
	}
	if span < trendLeast {
		return math.NaN()
	}
	slices.Sort(slopes[:n])
	return (slopes[(n-1)/2] + slopes[n/2]) / 2
}

func mod(n int64) int64 { return (n%trendBins + trendBins) % trendBins }
