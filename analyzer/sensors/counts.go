package sensors

import (
	"strokewise/analyzer/station"
)

const (
	// evenCounts is the share by which the times of two counts may differ to be folded over one another. Own choice:
	// at 1.5 the phases of slow and quick counts mix, at 1.05 few remain.
	evenCounts = 1.2
	// mostCounts is by how much a counter may go on between two readings; a larger step is a reset.
	mostCounts = 4
	// leastReadings is how many readings a count needs for its mean to be known.
	leastReadings = 4
)

// Counts follows both channels from count to count of the cycle counter. A mean over a whole count
// holds no ripple, so its change to the next is the rise of a count. Fields are exported for snapshots only.
type Counts struct {
	Seen    bool
	Value   float64              // the counter's newest reading
	At      station.Instant      // of the newest count
	Took    float64              // s, of the count before it
	Wave, N [2][waveBins]float64 // of both channels since: sums of readings in the parts of a count
	Mean    [2]float64           // of the count before, Pa gauge
	Fine    bool                 // it was one count, seen whole
	Even    bool                 // so was the newest course
}

// Lift is the rise from a count to the next.
type Lift struct {
	Rise float64 // Pa, of the outlet
	In   float64 // Pa gauge, mean inlet
	Out  float64
	Took float64 // s
}

// sample adds a reading of a channel, 0: inlet, 1: outlet.
func (c *Counts) sample(channel int, t station.Instant, v float64) {
	if c.Took <= 0 {
		return
	}
	i := int(float64(t.Sub(c.At)) * 1e-9 / c.Took * waveBins)
	if i >= waveBins && float64(i) < waveBins*evenCounts { // it takes longer than the one before
		i = waveBins - 1
	}
	if i >= 0 && i < waveBins {
		c.Wave[channel][i], c.N[channel][i] = c.Wave[channel][i]+v, c.N[channel][i]+1
	}
}

// course is what both channels did from count to count.
type course struct {
	Lift
	Next    bool                 // it follows another one at once
	Wave, N [2][waveBins]float64 // sums of the readings in its parts, above their mean, Pa, and their number
}

// count handles a reading of the counter. It returns the number of counts, and the course of the newest one
// where it and the one before were seen whole and took about as long.
func (c *Counts) count(t station.Instant, v float64) (k course, n float64, ok bool) {
	was := c.Value
	c.Value = v
	if !c.Seen {
		c.Seen, c.At = true, t
		return k, 0, false
	}
	if n = v - was; n <= 0 || n > mostCounts {
		return k, 0, false
	}
	took := float64(t.Sub(c.At)) * 1e-9
	mean, whole := c.close(&k)
	whole = whole && n == 1
	if ok = whole && c.Fine && took < c.Took*evenCounts && c.Took < took*evenCounts; ok {
		k.Lift = Lift{Rise: mean[1] - c.Mean[1], In: (mean[0] + c.Mean[0]) / 2, Out: (mean[1] + c.Mean[1]) / 2, Took: took}
	}
	k.Next = ok && c.Even
	c.At, c.Took, c.Mean, c.Fine, c.Even = t, took, mean, whole, ok
	return k, n, ok
}

// close ends the parts of a count and returns the mean of its readings, and whether there are enough.
func (c *Counts) close(k *course) (mean [2]float64, whole bool) {
	k.Wave, k.N, whole = c.Wave, c.N, true
	for ch := range k.Wave {
		sum, n := 0.0, 0.0
		for i := range waveBins {
			sum, n = sum+k.Wave[ch][i], n+k.N[ch][i]
		}
		mean[ch] = sum / max(1, n)
		for i := range waveBins {
			k.Wave[ch][i] -= k.N[ch][i] * mean[ch]
		}
		whole = whole && n >= leastReadings
	}
	c.Wave, c.N = [2][waveBins]float64{}, [2][waveBins]float64{}
	return mean, whole
}
