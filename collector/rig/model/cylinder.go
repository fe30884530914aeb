package model

import "math"

// Cylinder is what moves of one booster.
type Cylinder struct {
	Drive [2]Volume // fed in a stroke towards the end of side a, b
	Boost [2]Volume // compressing in a stroke towards the end of side a, b

	X, V     float64 // piston position (m, 0 at the end of side b) and velocity (m/s)
	Side     int     // towards whose end it works: 0 for a, 1 for b
	Switch   float64 // s of changeover left
	Governed bool    // the governor is shut
	Seen     float64 // Pa gauge, the outlet that a lagging governor sees
	Ice      float64 // 0 to 1, see Ice
}

// cylinder returns a cylinder at rest with its piston at a share of its way, full of air of in Pa
// absolute on the boost side, its outlet at outlet Pa gauge.
func (s *Station) cylinder(in, outlet, share float64) Cylinder {
	p, c := &s.Params, Cylinder{X: share * s.geometry.Stroke, Seen: outlet}
	c.Governed = outlet >= p.Governor.SetGauge && !p.Governor.Without
	for i := range 2 {
		far := c.X
		if i == 1 {
			far = s.geometry.Stroke - c.X
		}
		c.Drive[i] = Fill(s.dead[0][i]+s.areaD*far, p.Atmosphere, p.Ambient)
		c.Boost[i] = Fill(s.dead[1][i]+s.areaB*(s.geometry.Stroke-far), in, p.Ambient)
	}
	return c
}

// content returns kg.
func (c *Cylinder) content() float64 {
	return c.Drive[0].M + c.Drive[1].M + c.Boost[0].M + c.Boost[1].M
}

// standing reports whether coarse steps will do: nothing moves and nothing is fed.
func (c *Cylinder) standing(shut bool) bool {
	return c.Switch <= 0 && math.Abs(c.V) < atRest && (c.Governed || shut)
}

// travels reports whether the piston is faster than least m/s, or in changeover.
func (c *Cylinder) travels(least float64) bool { return c.Switch > 0 || math.Abs(c.V) > least }

// drive feeds the working drive chamber and vents the other, unless the changeover valve
// is on its way.
func (s *Station) drive(c *Cylinder, above, dt float64) {
	p, line := &s.Params, &s.State.Line
	open := s.opening(c, above, dt)
	if c.Switch > 0 {
		return
	}
	working := &c.Drive[c.Side]
	if open > 0 {
		feed := Nozzle{p.Drive.Feed.C * open * (1 + p.Uneven.Feed[c.Side]), p.Drive.Feed.B}
		kept := 0.0 // by the drive side's regulator
		if p.Drive.Set > 0 {
			kept = max(0, line.Pressure()-p.Atmosphere-p.Drive.Set)
		}
		if pass(line, working, feed, kept, dt) == 0 {
			pass(working, line, feed, 0, dt)
		}
	}
	pass(line, working, p.Leaks.DriveSeal, 0, dt)
	s.exhaust(c, dt)
}

// exhaust vents the drive chamber that does not work.
func (s *Station) exhaust(c *Cylinder, dt float64) {
	p, far := &s.Params, 1-c.Side
	way := Nozzle{p.Drive.Exhaust.C * (1 + p.Uneven.Exhaust[far]), p.Drive.Exhaust.B}
	ice := &p.Drive.Ice
	way.C *= 1 - ice.Depth*c.Ice
	out := release(&c.Drive[far], p.Atmosphere, way, dt)
	s.kg.Exhaust += out
	if ice.Depth > 0 {
		c.Ice += (1 - c.Ice) * -math.Expm1(-out/perLitre/ice.Air)
		c.Ice *= math.Exp(-dt / ice.Thaw)
	}
}

// boost lets air through the check valves.
func (s *Station) boost(c *Cylinder, dt float64) {
	v, u, line, to := &s.Params.Check, &s.Params.Uneven, &s.State.Line, s.mouth()
	for i := range c.Boost {
		b := &c.Boost[i]
		pass(line, b, Nozzle{v.Inlet.C * (1 + u.Inlet[i]), v.Inlet.B}, v.Crack, dt)
		s.kg.Delivered += pass(b, to, Nozzle{v.Outlet.C * (1 + u.Outlet[i]), v.Outlet.B}, v.Crack, dt)
		s.kg.Delivered -= pass(to, b, v.Back[i], 0, dt)
	}
}

// warm warms the air of the chambers against their walls.
func (s *Station) warm(c *Cylinder, dt float64) {
	amb, f := s.Params.Ambient, &s.fixed
	for i := range 2 {
		c.Drive[i].warm(amb, f.ends[0]+f.ring[0]*(c.Drive[i].V-s.dead[0][i])/s.areaD, dt)
		c.Boost[i].warm(amb, f.ends[1]+f.ring[1]*(c.Boost[i].V-s.dead[1][i])/s.areaB, dt)
	}
}
