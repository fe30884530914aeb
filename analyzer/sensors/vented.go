package sensors

import "math"

const (
	// ventedFor is the time without a count, s, after which both sides may be vented.
	ventedFor = 30.0
	// ventedWithin is how far from zero, or from the atmosphere, a vented sensor reads, Pa: 1 % of 1 MPa.
	ventedWithin = 10e3
	// ventedRest is by how much it moves then within a slot at most, Pa: what is left leaks away.
	ventedRest = 500.0
)

// Vented keeps what both sensors read at rest while vented, Pa gauge, NaN before: near zero, or near the atmosphere's pressure where
// a sensor reads absolute. Fields are exported for snapshots only.
type Vented struct {
	Reads [2]float64
	Last  [2]float64
	For   float64 // s
	Known bool
}

// slot adds a slot of dt s; since is the time without a count, s.
func (v *Vented) slot(mean [2]float64, amb, since, dt float64) {
	if !v.Known {
		v.Reads, v.Known = [2]float64{math.NaN(), math.NaN()}, true
	}
	rests := since >= ventedFor
	for i, x := range mean {
		near := math.Abs(x) < ventedWithin || math.Abs(x-amb) < ventedWithin
		rests = rests && near && math.Abs(x-v.Last[i]) < ventedRest
	}
	v.Last = mean
	if !rests {
		v.For = 0
		return
	}
	if v.For += dt; v.For >= ventedFor {
		v.Reads = mean
	}
}
