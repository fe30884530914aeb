package model

import "math"

// approach returns the share of the way that a first-order lag of tau s goes in dt s:
// 1 - exp(-dt/tau).
func approach(dt, tau float64) float64 { return -math.Expm1(-dt / tau) }

// set returns the pressure at which the outlet counts as at set, Pa gauge: the governor's, where
// it has wandered to. Without a governor it is where the forces balance at the inlet of the moment,
// p1g (1 + A_d/A_b) - F/A_b, less two cracking pressures.
func (s *Station) set() float64 {
	p := &s.Params
	if !p.Governor.Without {
		return p.Governor.SetGauge + s.outside.set
	}
	f := (p.Piston.Friction[0] + p.Piston.Friction[1]) / 2
	return s.Inlet()*s.geometry.Ratio() - f/s.areaB - 2*p.Check.Crack
}

// opening returns how far a cylinder's governor, set above Pa higher, is open, 0 to 1, and keeps
// its latch.
func (s *Station) opening(c *Cylinder, above, dt float64) float64 {
	g := &s.Params.Governor
	if g.Without {
		c.Governed = false
		return 1
	}
	p2 := s.mouth().Pressure() - s.Params.Atmosphere
	if g.Lag > 0 {
		p2 = c.Seen + (p2-c.Seen)*approach(dt, g.Lag)
	}
	c.Seen = p2
	below := g.SetGauge + s.outside.set + above - c.Seen
	open := 1.0
	if g.Band > 0 {
		open = min(1, below/g.Band)
	}
	switch {
	case below <= 0 || open < g.Least:
		c.Governed = true
	case below >= g.Hysteresis:
		c.Governed = false
	}
	if c.Governed {
		return 0
	}
	return open
}
