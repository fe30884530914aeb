package model

import "math"

// knot is how often what moves outside is looked at, s. The header follows straight lines between
// its knots, so its slope is kept.
const knot = 20e-3

// outside is what moves without regard to the station: its header, its governor's set and what
// its consumers ask for.
type outside struct {
	from, to float64 // s, the stretch that the rest holds for; empty at the start
	swing    float64 // Pa at from
	slope    float64 // Pa/s
	set      float64 // Pa by which the set has wandered
	flow     float64 // m³/s ANR
}

// look renews what is outside once its stretch is over.
func (s *Station) look() {
	o, t := &s.outside, s.State.Time
	if t < o.to-1e-9 {
		return
	}
	p := &s.Params
	k := math.Floor(t/knot + 1e-6)
	o.from, o.to = k*knot, (k+1)*knot
	o.swing = p.Supply.Header.Swing(o.from)
	o.slope = (p.Supply.Header.Swing(o.to) - o.swing) / knot
	o.flow = p.Demand.consumers(o.from)
	o.set = 0
	if g := &p.Governor; g.Wander > 0 {
		o.set = g.Wander * wander(p.Seed^0xd1, o.from, g.WanderLag)
	}
}

// header returns the header's pressure, Pa absolute.
func (s *Station) header() float64 {
	o := &s.outside
	return s.fixed.header + o.swing + o.slope*(s.State.Time-o.from)
}
