package sensors

import (
	"math"
	"slices"
)

const (
	// keptStands is the number of standing times that are remembered, own choice: a sensor that was mended is sound again after half of them.
	keptStands = 12
	// standsFor is the time without a count, s, at least, after which the piston stands; and in usual counts.
	standsFor, standsCounts = 2.0, 3.0
)

// Stand is a standing time of the piston between two runs.
type Stand struct {
	Top   float64 // Pa gauge: where the outlet stood highest
	Inlet float64 // Pa gauge, at its end
	High  float64 // Pa gauge: where the inlet stood highest
}

// Stands follows the standing times. Fields are exported for snapshots only.
type Stands struct {
	Ring  [keptStands]Stand
	Kept  int
	Since float64 // s without a count
	Usual float64 // s a count
	Slots int
	Now   Stand
}

// counted handles a count that took took s: it ends a standing time.
func (r *Stands) counted(took float64, even bool) {
	if even {
		if r.Usual == 0 {
			r.Usual = took
		}
		r.Usual += 0.05 * (took - r.Usual)
	}
	if r.Slots > 0 {
		copy(r.Ring[1:], r.Ring[:])
		r.Ring[0] = r.Now
		r.Kept = min(r.Kept+1, keptStands)
	}
	r.Since, r.Slots = 0, 0
}

// slot adds a slot of dt s with mean readings of both channels, Pa gauge.
func (r *Stands) slot(in, out, dt float64) {
	if r.Since += dt; r.Since < max(standsFor, standsCounts*r.Usual) {
		return
	}
	if r.Slots++; r.Slots == 1 {
		r.Now.Top, r.Now.High = out, in
	}
	r.Now.Top, r.Now.High, r.Now.Inlet = max(r.Now.Top, out), max(r.Now.High, in), in
}

// median returns the median of a figure of the standing times, NaN where there are fewer than five.
func (r *Stands) median(of func(*Stand) float64) float64 {
	if r.Kept < 5 {
		return math.NaN()
	}
	var v [keptStands]float64
	for i := range r.Kept {
		v[i] = of(&r.Ring[i])
	}
	slices.Sort(v[:r.Kept])
	return v[r.Kept/2]
}
