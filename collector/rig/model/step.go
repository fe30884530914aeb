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
			dt = max(coarse, s.Params.Coarse)
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

// standing reports whether coarse steps will do.
func (s *Station) standing() bool {
	shut := s.Params.Supply.Shut
	return s.State.Cylinder.standing(shut) && (!s.Params.Second.On || s.State.Second.standing(shut))
}

// fixed is what Params give and what holds from one call of Advance to the next.
type fixed struct {
	header float64    // Pa absolute, its mean
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
	if p.Port.Volume > 0 {
		s.refit(&s.State.Port, p.Port.Volume)
	}
}

// refit changes a volume to another space. One that was empty cannot be filled.
func (s *Station) refit(v *Volume, to float64) {
	if v.V == to || v.V == 0 {
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
	st, second := &s.State, &s.Params.Second
	s.look()
	s.supply(dt)
	s.drive(&st.Cylinder, 0, dt)
	s.boost(&st.Cylinder, dt)
	if second.On {
		s.drive(&st.Second, second.SetAbove, dt)
		s.boost(&st.Second, dt)
	}
	s.hose(dt)
	s.consume(dt)
	s.blow(dt)
	s.move(&st.Cylinder, dt)
	if second.On {
		s.move(&st.Second, dt)
	}
	s.exchange(dt)
	s.read(dt)
	s.account(dt)
	st.Time += dt
}

// supply feeds the line, and takes back what a header below the line asks for.
func (s *Station) supply(dt float64) {
	p, line := &s.Params, &s.State.Line
	header := s.header()
	in := admit(line, header, p.Ambient, s.fixed.line, dt)
	if in == 0 {
		in = -release(line, header, s.fixed.line, dt)
	}
	s.kg.Inlet += in
	s.kg.LineLeak += release(line, p.Atmosphere, p.Leaks.Line, dt)
	if p.Supply.Shut {
		s.kg.LineLeak += release(line, p.Atmosphere, p.Supply.Dump, dt)
	}
}

// hose lets air through the hose between port and tank, either way.
func (s *Station) hose(dt float64) {
	port, tank, hose := &s.State.Port, &s.State.Tank, s.Params.Port.Hose
	if port.V > 0 && pass(port, tank, hose, 0, dt) == 0 {
		pass(tank, port, hose, 0, dt)
	}
}

// exchange warms the air against the walls, and the tank's wall against the room.
func (s *Station) exchange(dt float64) {
	p, st := &s.Params, &s.State
	s.warm(&st.Cylinder, dt)
	if p.Second.On {
		s.warm(&st.Second, dt)
	}
	q := st.Tank.warm(st.Wall, s.fixed.wall, dt)
	if p.Tank.Wall > 0 {
		st.Wall -= q / p.Tank.Wall
		if p.Tank.WallLag > 0 {
			st.Wall += (p.Ambient - st.Wall) * dt / (p.Tank.WallLag + dt)
		}
	}
}

// read lets the sensors follow the pressures.
func (s *Station) read(dt float64) {
	if lag := s.Params.SensorLag; lag > 0 {
		k := approach(dt, lag)
		s.State.Read[0] += (s.Inlet() - s.State.Read[0]) * k
		s.State.Read[1] += (s.Outlet() - s.State.Read[1]) * k
	}
}
