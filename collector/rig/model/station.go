// Package model computes what one boost station does: a fast lumped-parameter model with
// balances of mass and energy in the supply line, the four chambers and the tank, flows by
// ISO 6358, a force balance on the piston, check valves, changeover valve and governor.
//
// It is made for test benches and demonstrations, and imports nothing of the analyzer, so
// that an error of the one is not hidden by the same error of the other. It is pure: no
// clock, no I/O, no randomness; equal calls give equal results. Units are SI.
package model

// State is what moves. It holds no pointers, so a Station is copied by assignment (the
// copies then share the table Params.Demand.Steps, which the model only reads).
type State struct {
	Time float64 // s

	Line  Volume
	Drive [2]Volume // fed in a stroke towards the end of side a, b
	Boost [2]Volume // compressing in a stroke towards the end of side a, b
	Tank  Volume
	Wall  float64 // K, the tank's wall

	X, V     float64 // piston position (m, 0 at the end of side b) and velocity (m/s)
	Side     int     // towards whose end it works: 0 for a, 1 for b
	Switch   float64 // s of changeover left
	Governed bool    // the governor is shut
}

// Station is a boost station at a moment. Change Params as you like between two calls of
// Advance; Geometry is fixed.
type Station struct {
	Params Params
	State  State

	geometry Geometry
	areaD    float64    // m²
	areaB    float64    // m²
	dead     [2]float64 // m³ of a drive and a boost chamber
	kg       Totals     // air in kg
	recent   recent
	stills   stills
	low      bool // the outlet has been low and is not yet back at set
	cursor   int  // in Demand.Steps
	fixed    fixed
}

// New gives a station at rest at time 0 whose outlet stands at outlet (Pa gauge), with the
// line at the header's pressure (or at the atmosphere's where the supply is shut).
func New(g Geometry, p Params, outlet float64) *Station {
	s := &Station{Params: p, geometry: g, areaD: g.DriveArea(), areaB: g.BoostArea()}
	s.dead = [2]float64{g.DeadDrive * s.areaD * g.Stroke, g.DeadBoost * s.areaB * g.Stroke}
	in, amb := p.Atmosphere, p.Ambient
	if !p.Supply.Shut {
		in += p.Supply.HeaderGauge
	}
	st := &s.State
	st.Line = Fill(p.Supply.Volume, in, amb)
	st.Tank = Fill(p.Tank.Volume, p.Atmosphere+outlet, amb)
	st.Wall = amb
	full, empty := g.Stroke*s.areaD+s.dead[0], s.dead[0]
	st.Drive = [2]Volume{Fill(empty, p.Atmosphere, amb), Fill(full, p.Atmosphere, amb)}
	st.Boost = [2]Volume{Fill(g.Stroke*s.areaB+s.dead[1], in, amb), Fill(s.dead[1], in, amb)}
	st.Governed = outlet >= p.Governor.SetGauge
	return s
}

// Geometry gives the cylinder.
func (s *Station) Geometry() Geometry { return s.geometry }

// Inlet gives p1, Pa gauge.
func (s *Station) Inlet() float64 { return s.State.Line.Pressure() - s.Params.Atmosphere }

// Outlet gives p2 at the tank, Pa gauge.
func (s *Station) Outlet() float64 { return s.State.Tank.Pressure() - s.Params.Atmosphere }

// Branch gives the pressure behind the regulator, Pa gauge.
func (s *Station) Branch() float64 {
	return max(0, min(s.Params.Regulator.SetGauge, s.Outlet()-s.Params.Regulator.Drop))
}

// Strokes gives how many strokes have ended.
func (s *Station) Strokes() int { return s.kg.Strokes }

// Cycles gives how many double strokes have ended.
func (s *Station) Cycles() int { return s.kg.Strokes / 2 }

// Totals gives what the station did since New.
func (s *Station) Totals() Totals { return s.kg.litres() }

// TakeStrokes appends the strokes that ended since the last call, at most the latest 64.
func (s *Station) TakeStrokes(to []Stroke) []Stroke { return s.recent.take(to) }

// Content gives the air in line, chambers and tank, litres ANR.
func (s *Station) Content() float64 {
	st := &s.State
	return (st.Line.M + st.Tank.M + st.Drive[0].M + st.Drive[1].M + st.Boost[0].M + st.Boost[1].M) / perLitre
}
