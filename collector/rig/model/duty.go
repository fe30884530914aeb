package model

// The definition of duty that truth is counted by. A test of collector/rig holds the first two
// to the analyzer's, which this package does not import.
const (
	SlowestStroke = 30.0 // s that the slowest stroke takes; slower is creeping and counts as standing
	FedAbove      = 50e3 // Pa gauge, least inlet pressure of a fed station

	// lowOutlet is the share of set below which an outlet counts as low: strokes from there until
	// it is at set are charging. Own choice, below what demand holds a working station to.
	lowOutlet = 0.8
	nearSet   = 5e3 // Pa below the restart pressure that still count as at set
)

// travels reports whether a piston is faster than the slowest stroke, or in changeover. Two boosters
// are one station: it strokes while either does.
func (s *Station) travels() bool {
	least := s.geometry.Stroke / SlowestStroke
	return s.State.Cylinder.travels(least) || s.Params.Second.On && s.State.Second.travels(least)
}

// fed reports whether the supply is open and the inlet above FedAbove.
func (s *Station) fed() bool { return !s.Params.Supply.Shut && s.Inlet() > FedAbove }

// atSet reports whether the outlet is at set, or so little below that the governor would not
// have opened.
func (s *Station) atSet() bool {
	return s.Outlet() >= s.set()-s.Params.Governor.Hysteresis-nearSet
}

// account adds the step to the time of what the station is doing.
func (s *Station) account(dt float64) {
	travels, at := s.travels(), s.atSet()
	s.stills.account(travels, s.State.Time+dt, dt)
	switch {
	case at:
		s.low = false
	case s.Outlet() < lowOutlet*s.set():
		s.low = true
	}
	if !s.fed() {
		return
	}
	k := &s.kg
	k.Fed += dt
	switch {
	case travels:
		k.Stroking += dt
		if s.low {
			k.Charging += dt
		}
	case at:
		k.Holding += dt
	default:
		k.Starved += dt
	}
}
