package sensors

import "math"

const (
	// rhythmCounts is the number of counts that are folded for the rhythm. Own choice: a minute of a quick booster.
	rhythmCounts = 60
	// rhythmClear is the size of a ripple over its standard error from which its rhythm is looked at.
	rhythmClear = 6.0
	// rhythmSlowest is the longest time of a count, s, whose rhythm is looked at: slower strokes pause.
	rhythmSlowest = 1.6
)

// Rhythm compares the inlet's ripple at the rhythm of counts with that at twice it: where a count is a cycle of two strokes, nearly alike,
// the second is the larger one. It needs neither plate nor scale. Fields are exported for snapshots only.
type Rhythm struct {
	Wave, Seen [waveBins]float64
	N          float64
	Half       float64 // log of the ratio, mean of the blocks, the past fading
	Weight     float64
}

// half returns the log of the ripple at twice the rhythm of counts over that at it, NaN where it is not known.
func (r *Rhythm) half() float64 {
	if r.Weight == 0 {
		return math.NaN()
	}
	return r.Half
}

// add adds the course of a count.
func (r *Rhythm) add(c *course, noise float64) {
	if c.Took > rhythmSlowest {
		return
	}
	for i := range waveBins {
		r.Wave[i], r.Seen[i] = r.Wave[i]+c.Wave[0][i], r.Seen[i]+c.N[0][i]
	}
	if r.N++; r.N < rhythmCounts {
		return
	}
	if a, err := amplitudes(&r.Wave, &r.Seen, noise); max(a[0], a[1]) > rhythmClear*err {
		x := math.Log(max(a[1], err) / max(a[0], err))
		r.Weight = min(r.Weight+1, 4)
		r.Half += (x - r.Half) / r.Weight
	}
	r.Wave, r.Seen, r.N = [waveBins]float64{}, [waveBins]float64{}, 0
}

// amplitudes returns the amplitudes of a folded course's first two harmonics, Pa, and their standard error by white noise alone.
func amplitudes(wave, n *[waveBins]float64, noise float64) (a [2]float64, err float64) {
	samples := 0.0
	for k := range a {
		re, im := 0.0, 0.0
		for i := range waveBins {
			v := wave[i] / max(1, n[i])
			s, c := math.Sincos(2 * math.Pi * float64(k+1) * (float64(i) + 0.5) / waveBins)
			re, im = re+v*c, im+v*s
		}
		a[k] = math.Hypot(re, im) * 2 / waveBins
	}
	for _, x := range n {
		samples += x
	}
	return a, noise * math.Sqrt(2/max(1, samples))
}
