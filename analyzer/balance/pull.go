package balance

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// assumedB is the critical pressure ratio of a supply line, ISO 6358 (common practice, no source); at
	// small sag k hardly depends on it.
	assumedB = 0.3
	// mostMissed is the share of a cycle's time whose samples may be missing. Own choice.
	mostMissed = 0.2
)

// aim is what is known of the header at the middle of a cycle: level, slope, deviation of the level.
type aim struct{ H, V, Sd float64 }

const (
	leastSd = 1.0  // Pa, below which rounding would end the deviation of a header
	mostSd  = 0.25 // of the header, above which the root has no slope
)

// aim returns what is known of the header now.
func (s *state) aim() aim {
	h, sd := s.X[level], math.Sqrt(max(0, s.P[level][level]))
	return aim{h, s.X[slope], min(max(leastSd, sd), mostSd*h)}
}

// pull is the integral over a cycle, Pa s, its slope by the header, and the variance by noise and by what
// is not straight.
type pull struct{ I, Slope, Var float64 }

// pulled integrates over the cells in [from, at). The mean over three points of the header's error
// (Gauss-Hermite: 1/6, 2/3, 1/6 at 0 and sqrt 3 deviations) takes the bend of the root into account. False
// where samples are missing.
func (c *cells) pulled(from, at station.Instant, a aim, noise float64) (d pull, ok bool) {
	i := c.first(from)
	if i == c.oldest() && i > 0 {
		return d, false
	}
	mid, took := from.Add(at.Sub(from)/2), seconds(from, at)
	var s [3]float64
	seen := 0.0
	for ; i < c.N; i++ {
		t := c.at(i)
		if t >= at {
			break
		}
		k := &c.Ring[i%kept]
		dt, p := float64(k.Dt), float64(k.P)
		h := a.H + a.V*seconds(mid, t)
		for j := range s {
			s[j] += root(h+float64(j-1)*math.Sqrt(3)*a.Sd, p) * dt
		}
		sd := noise / math.Sqrt(float64(k.Cnt)) // of a root: of the sag over twice the root
		d.Var += h * dt * dt * sd * sd / (2 * max(math.Abs(h-p), sd))
		seen += dt
	}
	if math.Abs(seen-took) > mostMissed*took {
		return d, false
	}
	d.sum(&s, took/seen, a.Sd)
	return d, true
}

// sum sets integral, slope and variance from those at the three points. f makes up for missing samples.
func (d *pull) sum(s *[3]float64, f, sd float64) {
	d.I = f * (s[0] + 4*s[1] + s[2]) / 6
	d.Slope = f * (s[2] - s[0]) / (2 * math.Sqrt(3) * sd)
	square := f * f * (s[0]*s[0] + 4*s[1]*s[1] + s[2]*s[2]) / 6
	d.Var += max(0, square-d.I*d.I-d.Slope*d.Slope*sd*sd)
}

// root returns sqrt(2 h |h-p|) (1 - x/4) with the sign of h - p: what noise adds in a pause of the draw
// cancels. With x = sag/(h (1-b)), small, sqrt(2/(1-b) h sag) (1 - x/4) is h psi of ISO 6358.
func root(h, p float64) float64 {
	y := math.Abs(h - p)
	return math.Copysign(math.Sqrt(2*h*y)*(1-y/(4*h*(1-assumedB))), h-p)
}
