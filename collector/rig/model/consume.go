package model

// consume lets consumers and leaks draw from the tank.
func (s *Station) consume(dt float64) {
	p, st, tank := &s.Params, &s.State, &s.State.Tank
	if lag := p.Regulator.Lag; lag > 0 {
		st.Flow += (s.outside.flow - st.Flow) * approach(dt, lag)
	} else {
		st.Flow = s.outside.flow
	}
	if f := p.Demand.at(st.Time, &s.cursor) + st.Flow; f > 0 || p.Leaks.Branch.C > 0 {
		branch := p.Atmosphere + s.Branch()
		most := p.Regulator.Full.flow(tank.Pressure(), branch, tank.Temperature())
		want := f * refRho * branch / (p.Atmosphere + p.Regulator.SetGauge)
		leak := min(most, p.Leaks.Branch.flow(branch, p.Atmosphere, p.Ambient))
		s.kg.Leak += tank.draw(leak * dt)
		s.kg.Demand += tank.draw(min(want, most-leak) * dt)
	}
	s.kg.Leak += release(tank, p.Atmosphere, p.Leaks.Tank, dt)
	s.kg.Leak += release(tank, p.Atmosphere, p.Leaks.Hose, dt)
}

// blow lets air out of the tank by relief valve and vent.
func (s *Station) blow(dt float64) {
	p, tank := &s.Params, &s.State.Tank
	if p.Relief.SetGauge > 0 {
		if lift := s.lift(); lift > 0 {
			s.kg.Relief += release(tank, p.Atmosphere, Nozzle{p.Relief.Full.C * lift, p.Relief.Full.B}, dt)
		}
	}
	if p.VentOpen {
		s.kg.Relief += release(tank, p.Atmosphere, p.Vent, dt)
	}
}

// lift returns how far the relief valve is open, 0 to 1, and keeps the latch of one that pops.
func (s *Station) lift() float64 {
	r, st, p := &s.Params.Relief, &s.State, s.Stored()
	switch {
	case r.Blowdown <= 0 && p <= r.SetGauge:
		return 0
	case r.Blowdown <= 0 && r.Over > 0:
		return min(1, (p-r.SetGauge)/r.Over)
	case r.Blowdown <= 0:
		return 1
	case p >= r.SetGauge:
		st.Lifted = true
	case p <= r.SetGauge*(1-r.Blowdown):
		st.Lifted = false
	}
	if st.Lifted {
		return 1
	}
	return 0
}
