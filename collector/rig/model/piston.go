package model

// move moves the piston by one step, and works the changeover valve at its ends.
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
func (s *Station) move(dt float64) {
	p, st := &s.Params.Piston, &s.State
	if st.Switch > 0 {
		st.Switch -= dt
		if st.Switch <= 0 {
			st.Side = 1 - st.Side
		}
	}
	force, spring := s.forces()
	theta := min(1, 0.5+5e3*dt*dt)
	hold := p.Mass/dt + p.Viscous + theta*spring*dt
	v := (p.Mass*st.V/dt + force) / hold
	switch {
	case v > p.Friction[0]/hold:
		v -= p.Friction[0] / hold
	case v < -p.Friction[1]/hold:
		v += p.Friction[1] / hold
	default:
		v = 0
	}
	s.shift(v, dt)
}

// forces gives the force of the chambers towards side a's end (N) and their stiffness (N/m).
func (s *Station) forces() (force, spring float64) {
	d, b := &s.State.Drive, &s.State.Boost
	d0, d1, b0, b1 := d[0].Pressure(), d[1].Pressure(), b[0].Pressure(), b[1].Pressure()
	force = s.areaD*(d0-d1) + s.areaB*(b1-b0)
	spring = kappa * (s.areaD*s.areaD*(d0/d[0].V+d1/d[1].V) + s.areaB*s.areaB*(b0/b[0].V+b1/b[1].V))
	return force, spring
}

// shift moves the piston at v for dt, up to an end. The end of the side that it works
// towards ends the stroke.
func (s *Station) shift(v, dt float64) {
	st, length := &s.State, s.geometry.Stroke
	x, went := st.X+v*dt, dt
	end := -1
	switch {
	case x >= length:
		went, x, end = (length-st.X)/v, length, 0
	case x <= 0 && v < 0:
		went, x, end = -st.X/v, 0, 1
	}
	st.X, st.V = x, v
	s.resize()
	if end < 0 {
		return
	}
	st.V = 0
	if end == st.Side && st.Switch <= 0 {
		st.Switch = max(s.Params.Drive.Switch, dt)
		s.kg.Strokes++
		s.recent.add(Stroke{At: st.Time + went, Side: uint8(end)})
	}
}

// resize gives the chambers the space that the piston leaves them.
func (s *Station) resize() {
	st, back := &s.State, s.geometry.Stroke-s.State.X
	st.Drive[0].resize(s.dead[0] + s.areaD*st.X)
	st.Drive[1].resize(s.dead[0] + s.areaD*back)
	st.Boost[0].resize(s.dead[1] + s.areaB*back)
	st.Boost[1].resize(s.dead[1] + s.areaB*st.X)
}
