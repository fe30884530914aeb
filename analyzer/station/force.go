package station

import "math"

// DriveSupply returns the pressure that the drive side is fed with, Pa absolute, at an inlet of p1: that, or what its own
// regulator leaves of it.
func (p *Plate) DriveSupply(p1 Absolute) Absolute {
	if p.DriveSet > 0 {
		return min(p1, p.DriveSet.Absolute(p.AmbientPressure()))
	}
	return p1
}

// Stall returns the highest outlet that an inlet p1 can reach without friction, both Pa gauge. The drive side pushes with p_d, the
// inlet helps on the boost side:
//
//	p2 = p1 + p_d A_d/A_b,  p_d = p1, or the drive regulator's set where that is lower
//
// NaN where the area ratio is not given. Source: force balance of the piston.
func (p *Plate) Stall(p1 Gauge) Gauge {
	if p.AreaRatio <= 0 {
		return Gauge(math.NaN())
	}
	drive := p1
	if p.DriveSet > 0 {
		drive = min(p1, p.DriveSet)
	}
	return p1 + drive*Gauge(p.AreaRatio)
}

// StallInlet returns the lowest inlet that can reach an outlet p2 without friction, both Pa gauge: the inverse of Stall.
func (p *Plate) StallInlet(p2 Gauge) Gauge {
	if p.AreaRatio <= 0 {
		return Gauge(math.NaN())
	}
	alone := p2 / Gauge(1+p.AreaRatio)
	if p.DriveSet > 0 && alone > p.DriveSet {
		return p2 - p.DriveSet*Gauge(p.AreaRatio)
	}
	return alone
}
