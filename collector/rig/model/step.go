package model

import "math"

// Inner steps: fine while anything moves, coarse while the piston stands.
const (
	fine   = 1e-3  // s
	coarse = 10e-3 // s

	atRest = 0.2e-3 // m/s below which coarse steps will do
)

// Advance carries the station to until (s), ending exactly there; it does nothing when
// that is past. Without pauses for samples call it every few seconds at most if you take
// strokes, see TakeStrokes.
func (s *Station) Advance(until float64) {
	s.prepare()
	for {
		left := until - s.State.Time
		if left <= 1e-9 {
			return
		}
		dt := fine
		if s.standing() {
			dt = coarse
		}
		if left > 1.01*dt {
			left /= math.Ceil(left/dt - 0.01)
		}
		s.advance(left)
	}
}

// Step carries the station on by one inner step of dt seconds. Any dt is stable; above
// 1 ms strokes lose accuracy.
func (s *Station) Step(dt float64) {
	s.prepare()
	s.advance(dt)
}

// standing tells whether coarse steps will do: nothing moves and nothing is fed.
func (s *Station) standing() bool {
	st := &s.State
	return st.Switch <= 0 && math.Abs(st.V) < atRest && (st.Governed || s.Params.Supply.Shut)
}

// fixed is what Params give and what holds from one call of Advance to the next.
type fixed struct {
	header float64    // Pa absolute
	line   Nozzle     // shut where the supply is
	wall   float64    // W/K of the tank
	ends   [2]float64 // W/K of the faces of a drive, a boost chamber
	ring   [2]float64 // W/(K m) along a drive, a boost chamber
}

// prepare derives what Params give. Where a volume was changed, air comes or goes with it
// at constant pressure.
func (s *Station) prepare() {
	p, f, g := &s.Params, &s.fixed, s.geometry
	f.header = p.Atmosphere + p.Supply.HeaderGauge
	f.line = Nozzle{p.Supply.Line.C * p.Supply.Factor, p.Supply.Line.B}
	if p.Supply.Shut {
		f.line = Nozzle{}
	}
	f.wall = 0
	if p.Tank.Thermal > 0 {
		m := (p.Atmosphere + p.Governor.SetGauge) * p.Tank.Volume / (gasR * p.Ambient)
		f.wall = m * cv / p.Tank.Thermal
	}
	h := p.Drive.Wall
	f.ends = [2]float64{2 * h * s.areaD, 2 * h * s.areaB}
	f.ring = [2]float64{h * math.Pi * g.DriveBore, h * math.Pi * g.BoostBore}
	s.refit(&s.State.Tank, p.Tank.Volume)
	s.refit(&s.State.Line, p.Supply.Volume)
}

func (s *Station) refit(v *Volume, to float64) {
	if v.V == to {
		return
	}
	k := to / v.V
	s.kg.Resized += v.M * (1 - k)
	v.M, v.U, v.V = v.M*k, v.U*k, to
}

// advance does one inner step: the flows one after the other, each seeing what the ones
// before left, then the piston, then the heat. The order is fixed, and each part by itself
// cannot overshoot, so the whole is stable for any dt.
func (s *Station) advance(dt float64) {
	s.supply(dt)
	s.drive(dt)
	s.boost(dt)
	s.consume(dt)
	s.move(dt)
	s.exchange(dt)
	s.account(dt)
	s.State.Time += dt
}

// supply feeds the line, and takes back what a header below the line asks for.
func (s *Station) supply(dt float64) {
	p, line := &s.Params, &s.State.Line
	in := admit(line, s.fixed.header, p.Ambient, s.fixed.line, dt)
	if in == 0 {
		in = -release(line, s.fixed.header, s.fixed.line, dt)
	}
	s.kg.Inlet += in
	s.kg.LineLeak += release(line, p.Atmosphere, p.Leaks.Line, dt)
	if p.Supply.Shut {
		s.kg.LineLeak += release(line, p.Atmosphere, p.Supply.Dump, dt)
	}
}

// opening gives how far the governor is open, 0 to 1, and keeps its latch.
func (s *Station) opening() float64 {
	g, st := &s.Params.Governor, &s.State
	below := g.SetGauge - s.Outlet()
	open := 1.0
	if g.Band > 0 {
		open = min(1, below/g.Band)
	}
	switch {
	case below <= 0 || open < g.Least:
		st.Governed = true
	case below >= g.Hysteresis:
		st.Governed = false
	}
	if st.Governed {
		return 0
	}
	return open
}

// drive feeds the working drive chamber and vents the other, unless the changeover valve
// is on its way.
func (s *Station) drive(dt float64) {
	p, st := &s.Params, &s.State
	open := s.opening()
	if st.Switch > 0 {
		return
	}
	working := &st.Drive[st.Side]
	if open > 0 {
		feed := Nozzle{p.Drive.Feed.C * open, p.Drive.Feed.B}
		if pass(&st.Line, working, feed, 0, dt) == 0 {
			pass(working, &st.Line, feed, 0, dt)
		}
	}
	pass(&st.Line, working, p.Leaks.DriveSeal, 0, dt)
	s.kg.Exhaust += release(&st.Drive[1-st.Side], p.Atmosphere, p.Drive.Exhaust, dt)
}

// boost lets air through the check valves.
func (s *Station) boost(dt float64) {
	c, st := &s.Params.Check, &s.State
	for i := range st.Boost {
		b := &st.Boost[i]
		pass(&st.Line, b, c.Inlet, c.Crack, dt)
		s.kg.Delivered += pass(b, &st.Tank, c.Outlet, c.Crack, dt)
		s.kg.Delivered -= pass(&st.Tank, b, c.Back[i], 0, dt)
	}
}

// consume takes what leaves the tank: consumers and leak behind the regulator, leak in
// front of it, relief valve and vent.
func (s *Station) consume(dt float64) {
	p, tank := &s.Params, &s.State.Tank
	if f := p.Demand.at(s.State.Time, &s.cursor); f > 0 || p.Leaks.Branch.C > 0 {
		branch := p.Atmosphere + s.Branch()
		most := p.Regulator.Full.flow(tank.Pressure(), branch, tank.Temperature())
		want := f * refRho * branch / (p.Atmosphere + p.Regulator.SetGauge)
		leak := min(most, p.Leaks.Branch.flow(branch, p.Atmosphere, p.Ambient))
		s.kg.Leak += tank.draw(leak * dt)
		s.kg.Demand += tank.draw(min(want, most-leak) * dt)
	}
	s.kg.Leak += release(tank, p.Atmosphere, p.Leaks.Tank, dt)
	if over := s.Outlet() - p.Relief.SetGauge; p.Relief.SetGauge > 0 && over > 0 {
		lift := 1.0
		if p.Relief.Over > 0 {
			lift = min(1, over/p.Relief.Over)
		}
		s.kg.Relief += release(tank, p.Atmosphere, Nozzle{p.Relief.Full.C * lift, p.Relief.Full.B}, dt)
	}
	if p.VentOpen {
		s.kg.Relief += release(tank, p.Atmosphere, p.Vent, dt)
	}
}

// exchange warms the air against the walls, and the tank's wall against the room.
func (s *Station) exchange(dt float64) {
	p, st, f := &s.Params, &s.State, &s.fixed
	for i := range 2 {
		st.Drive[i].warm(p.Ambient, f.ends[0]+f.ring[0]*(st.Drive[i].V-s.dead[0])/s.areaD, dt)
		st.Boost[i].warm(p.Ambient, f.ends[1]+f.ring[1]*(st.Boost[i].V-s.dead[1])/s.areaB, dt)
	}
	q := st.Tank.warm(st.Wall, f.wall, dt)
	if p.Tank.Wall > 0 {
		st.Wall -= q / p.Tank.Wall
		if p.Tank.WallLag > 0 {
			st.Wall += (p.Ambient - st.Wall) * dt / (p.Tank.WallLag + dt)
		}
	}
}
