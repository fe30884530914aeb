package air

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// feedB is the critical pressure ratio of the way of the driving air (common practice,
	// no source).
	feedB = 0.2
	// feedShare is what a stroke takes that does not depend on the load (exhaust, changeover)
	// in units of the filling time at no throttling; set on our own virtual stations.
	feedShare = 0.7
	// frictionShare is friction as a share of the inlet pressure where none was learned (set
	// likewise).
	frictionShare = 0.05
)

// OpenStroke returns the relative duration of a stroke while the governor is open, in a unit
// that belongs to the booster:
//
//	t = e + x/psi(x),   x = (p_atm + (p2 - p1) A_b/A_d)/p1 + friction
//
// x is the drive pressure that moves the piston over the inlet pressure and psi the flow
// function of ISO 6358: the drive chamber is filled from the inlet to that pressure; e is
// what does not depend on it. Infinite where the forces do not suffice (stall). Only ratios
// between pressures of one booster mean something. On virtual stations t fits within 10 %
// between 0.6 and 0.95 of the highest outlet.
//
// Where the drive side has its own regulator, its set takes the place of p1 below the fraction, as what fills the chamber.
func OpenStroke(p *station.Plate, p1, p2 station.Absolute) float64 {
	amb, ratio, supply := p.AmbientPressure(), p.AreaRatio, p.DriveSupply(p1)
	if supply <= amb || ratio <= 0 {
		return math.Inf(1)
	}
	x := float64(amb+(p2-p1)/station.Absolute(ratio))/float64(supply) + frictionShare
	k := FlowFactor(max(x, 0), feedB)
	if k <= 0 {
		return math.Inf(1)
	}
	return feedShare + max(x, 0)/k
}
