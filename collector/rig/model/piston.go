package model

// move moves a piston by one step, and works the changeover valve at its ends.
//
//	m dv/dt = A_d (p_d0 - p_d1) + A_b (p_b1 - p_b0) - sign(v) F - k v
//
// Velocity is taken implicitly, with the four chambers as gas springs of
// K = kappa sum A² p/V and friction as a limit that can stop but not turn the motion:
//
//	v = shrink((m v0/dt + forces)/h, F/h), h = m/dt + k + theta K dt
//
// The chambers have had their flows of the step when their forces are taken, but not yet
// the motion, so theta is near 1/2 (the mean force over the step); it goes to 1 with long
// steps, where the trapezoid would ring.
func (s *Station) move(c *Cylinder, dt float64) {
	p := &s.Params.Piston
	if c.Switch > 0 {
		c.Switch -= dt
		if c.Switch <= 0 {
			c.Side = 1 - c.Side
		}
	}
	force, spring := s.forces(c)
	theta := min(1, 0.5+5e3*dt*dt)
	hold := p.Mass/dt + p.Viscous + theta*spring*dt
	v := (p.Mass*c.V/dt + force) / hold
	switch {
	case v > p.Friction[0]/hold:
		v -= p.Friction[0] / hold
	case v < -p.Friction[1]/hold:
		v += p.Friction[1] / hold
	default:
		v = 0
	}
	s.shift(c, v, dt)
}

// forces returns the force of the chambers towards side a's end (N) and their stiffness (N/m).
func (s *Station) forces(c *Cylinder) (force, spring float64) {
	d, b := &c.Drive, &c.Boost
	d0, d1, b0, b1 := d[0].Pressure(), d[1].Pressure(), b[0].Pressure(), b[1].Pressure()
	force = s.areaD*(d0-d1) + s.areaB*(b1-b0)
	spring = kappa * (s.areaD*s.areaD*(d0/d[0].V+d1/d[1].V) + s.areaB*s.areaB*(b0/b[0].V+b1/b[1].V))
	return force, spring
}

// shift moves the piston at v for dt, up to an end. The end of the side that it works
// towards ends the stroke.
func (s *Station) shift(c *Cylinder, v, dt float64) {
	length := s.geometry.Stroke
	x, went := c.X+v*dt, dt
	end := -1
	switch {
	case x >= length:
		went, x, end = (length-c.X)/v, length, 0
	case x <= 0 && v < 0:
		went, x, end = -c.X/v, 0, 1
	}
	c.X, c.V = x, v
	s.resize(c)
	if end < 0 {
		return
	}
	c.V = 0
	if end == c.Side && c.Switch <= 0 {
		c.Switch = max(s.Params.Drive.Switch, dt)
		s.ended(c, went)
	}
}

// ended counts a stroke that ended after s into the step.
func (s *Station) ended(c *Cylinder, after float64) {
	if c != &s.State.Cylinder {
		s.kg.Second++
		return
	}
	s.kg.Strokes++
	s.recent.add(Stroke{At: s.State.Time + after, Side: uint8(c.Side)})
}

// resize sets the space of the chambers to what the piston leaves them.
func (s *Station) resize(c *Cylinder) {
	back := s.geometry.Stroke - c.X
	c.Drive[0].resize(s.dead[0][0] + s.areaD*c.X)
	c.Drive[1].resize(s.dead[0][1] + s.areaD*back)
	c.Boost[0].resize(s.dead[1][0] + s.areaB*back)
	c.Boost[1].resize(s.dead[1][1] + s.areaB*c.X)
}
