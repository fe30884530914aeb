// Package model computes what one boost station does: a fast lumped-parameter model with
// balances of mass and energy in the supply line, the four chambers and the tank, flows by
// ISO 6358, a force balance on the piston, check valves, changeover valve and governor.
//
// It is made for test benches and demonstrations, and imports nothing of the analyzer, so
// that an error of the one is not hidden by the same error of the other. It is pure: no
// clock, no I/O; what is random is a function of seed and time, so equal calls give equal results. Units are SI.
package model

// State is what moves. It holds no pointers, so a Station is copied by assignment (the
// copies then share the tables of Params.Demand, which the model only reads).
type State struct {
	Time float64 // s

	Line Volume
	Cylinder
	Second Cylinder // runs where Params.Second is on
	Port   Volume   // empty where there is none
	Tank   Volume
	Wall   float64    // K, the tank's wall
	Lifted bool       // a relief valve that pops is open
	Flow   float64    // m³/s ANR that the regulator lets the consumers draw
	Read   [2]float64 // Pa gauge, what the sensors of inlet and outlet read
}

// Station is a boost station at a moment. Change Params as you like between two calls of
// Advance; Geometry is fixed.
type Station struct {
	Params Params
	State  State

	geometry Geometry
	areaD    float64       // m²
	areaB    float64       // m²
	dead     [2][2]float64 // m³ of the drive and the boost chambers, by side
	kg       Totals        // air in kg
	recent   recent
	stills   stills
	low      bool // the outlet has been low and is not yet back at set
	cursor   int  // in Demand.Steps
	fixed    fixed
	outside  outside
}

// New returns a station at rest at time 0 whose outlet stands at outlet (Pa gauge), with the
// line at the header's pressure (or at the atmosphere's where the supply is shut).
func New(g Geometry, p Params, outlet float64) *Station {
	s := &Station{Params: p, geometry: g, areaD: g.DriveArea(), areaB: g.BoostArea()}
	for i := range 2 {
		s.dead[0][i] = g.DeadDrive * (1 + g.DeadMore[i]) * s.areaD * g.Stroke
		s.dead[1][i] = g.DeadBoost * (1 + g.DeadMore[i]) * s.areaB * g.Stroke
	}
	in, amb := p.Atmosphere, p.Ambient
	if !p.Supply.Shut {
		in += p.Supply.HeaderGauge + p.Supply.Header.Swing(0)
	}
	st := &s.State
	st.Line = Fill(p.Supply.Volume, in, amb)
	st.Tank = Fill(p.Tank.Volume, p.Atmosphere+outlet, amb)
	if p.Port.Volume > 0 {
		st.Port = Fill(p.Port.Volume, p.Atmosphere+outlet, amb)
	}
	st.Wall = amb
	st.Cylinder, st.Second = s.cylinder(in, outlet, 0), s.cylinder(in, outlet, 0.4)
	st.Read = [2]float64{s.Inlet(), s.Outlet()}
	return s
}

// Geometry returns the cylinder.
func (s *Station) Geometry() Geometry { return s.geometry }

// Inlet returns p1, Pa gauge.
func (s *Station) Inlet() float64 { return s.State.Line.Pressure() - s.Params.Atmosphere }

// Outlet returns p2 where it is measured, Pa gauge: at the tank, or in front of the hose to it.
func (s *Station) Outlet() float64 {
	if s.Params.Port.AtTank {
		return s.Stored()
	}
	return s.mouth().Pressure() - s.Params.Atmosphere
}

// Stored returns the tank's pressure, Pa gauge.
func (s *Station) Stored() float64 { return s.State.Tank.Pressure() - s.Params.Atmosphere }

// mouth returns the space that the boosters deliver into.
func (s *Station) mouth() *Volume {
	if s.State.Port.V > 0 {
		return &s.State.Port
	}
	return &s.State.Tank
}

// Readings returns p1 and p2 as the sensors read them, Pa gauge: behind by Params.SensorLag.
func (s *Station) Readings() (inlet, outlet float64) {
	if s.Params.SensorLag <= 0 {
		return s.Inlet(), s.Outlet()
	}
	return s.State.Read[0], s.State.Read[1]
}

// Header returns the header's pressure, Pa gauge.
func (s *Station) Header() float64 {
	return s.Params.Supply.HeaderGauge + s.Params.Supply.Header.Swing(s.State.Time)
}

// Branch returns the pressure behind the regulator, Pa gauge.
func (s *Station) Branch() float64 {
	return max(0, min(s.Params.Regulator.SetGauge, s.Stored()-s.Params.Regulator.Drop))
}

// Strokes returns how many strokes of the first booster have ended.
func (s *Station) Strokes() int { return s.kg.Strokes }

// Cycles returns how many double strokes have ended.
func (s *Station) Cycles() int { return s.kg.Strokes / 2 }

// Totals returns what the station did since New.
func (s *Station) Totals() Totals { return s.kg.litres() }

// TakeStrokes appends the strokes that ended since the last call, at most the latest 64.
func (s *Station) TakeStrokes(to []Stroke) []Stroke { return s.recent.take(to) }

// Content returns the air in line, chambers, port and tank, litres ANR.
func (s *Station) Content() float64 {
	st := &s.State
	return (st.Line.M + st.Port.M + st.Tank.M + st.Cylinder.content() + st.Second.content()) / perLitre
}
