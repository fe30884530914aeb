package sensors

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// liveFor is the time, s, over which a channel is watched for moving with the strokes, and liveCounts the counts in it at least.
	liveFor, liveCounts = 120.0, 12.0
	// stillRange is the range of the means of slots, in standard errors, that noise alone makes: 240 of them lie within 6 but for one window
	// in a million.
	stillRange = 8.0
	// stillRipple is the ripple of the rhythm of counts, in standard errors, that noise alone makes.
	stillRipple = 4.0
	// movesRange is the range of the other channel, in standard errors, that shows that the station works.
	movesRange = 20.0
	// stillWindows is the number of windows in a row in which a channel must stand still.
	stillWindows = 2
)

// Live follows whether both channels move with the strokes: a sensor behind a closed gauge cock has noise, and shows nothing else.
// Fields are exported for snapshots only.
type Live struct {
	T, Counts  float64
	Low, High  [2]float64 // Pa gauge, of the means of slots
	Samples    [2]float64 // of a slot at least
	Steps, N   [2]float64 // sum of squared changes from sample to sample, Pa², and how many
	Wave, Seen [2][waveBins]float64
	Still      [2]int     // windows in a row
	At         [2]float64 // Pa gauge, where it stands still
}

// slot adds a slot's samples with their means.
func (v *Live) slot(of [2]Series, mean [2]float64, dt float64) {
	if v.T == 0 {
		v.Low, v.High = mean, mean
		v.Samples = [2]float64{math.Inf(1), math.Inf(1)}
	}
	for i := range mean {
		v.Low[i], v.High[i] = min(v.Low[i], mean[i]), max(v.High[i], mean[i])
		x := of[i].V
		v.Samples[i] = min(v.Samples[i], float64(len(x)))
		for k := 1; k < len(x); k++ {
			d := x[k] - x[k-1]
			v.Steps[i] += d * d
		}
		v.N[i] += float64(len(x) - 1)
	}
	if v.T += dt; v.T >= liveFor {
		v.judge()
	}
}

// noise returns the standard deviation of a channel's readings if they were white: half the mean square of its steps is their variance.
// What strokes do only adds to the steps.
func (v *Live) noise(i int) float64 { return math.Sqrt(v.Steps[i] / 2 / max(1, v.N[i])) }

// add adds the course of a count.
func (v *Live) add(c *course) {
	for ch := range c.Wave {
		for i := range waveBins {
			v.Wave[ch][i], v.Seen[ch][i] = v.Wave[ch][i]+c.Wave[ch][i], v.Seen[ch][i]+c.N[ch][i]
		}
	}
}

// judge ends a window. White noise of the standard deviation of the steps moves means of n samples by it over sqrt(n), and no more.
func (v *Live) judge() {
	var still, moves [2]bool
	for i := range still {
		noise := v.noise(i)
		err := noise / math.Sqrt(max(1, v.Samples[i]))
		a, ripple := amplitudes(&v.Wave[i], &v.Seen[i], noise)
		span := v.High[i] - v.Low[i]
		still[i] = noise > 0 && span < stillRange*err && max(a[0], a[1]) < stillRipple*ripple
		moves[i] = span > movesRange*err
	}
	for i := range still {
		switch {
		case v.Counts < liveCounts:
		case still[i] && moves[1-i]:
			v.Still[i]++
			v.At[i] = (v.High[i] + v.Low[i]) / 2
		default:
			v.Still[i] = 0
		}
	}
	*v = Live{Still: v.Still, At: v.At}
}

// closed returns the blame of a sensor that stands still, and whether one does.
func (v *Live) closed() (station.Blame, bool) {
	for i, w := range [...]station.Sides{station.InletSide, station.OutletSide} {
		if v.Still[i] >= stillWindows {
			return station.Blame{Is: station.CockClosed, Sides: w, Given: v.At[i], Ratio: 1}, true
		}
	}
	return station.Blame{}, false
}
