package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// backRise is how far, Pa and share, a closed inlet must rise over its resting pressure: air
// comes back from the tank.
const (
	backRise  = 10e3
	backShare = 0.03
)

// watchBack notes air that comes back through the check valves: while a valve's signal says
// that the supply is closed, nothing else can raise the inlet over the pressure at which it
// rested. The outlet then stops falling where it meets the inlet.
func (e *Engine) watchBack() {
	w := &e.Closed
	if e.State.ShutdownAt == 0 || e.State.ShutdownBy != station.ByValve || e.Inlet.N == 0 || e.Outlet.N == 0 || w.Rest <= 0 || e.Doubt.Who != 0 {
		return
	}
	over := max(backRise, backShare*w.Rest)
	if e.Inlet.Mean > w.Rest+over && e.Inlet.Mean < e.Outlet.Mean+over {
		e.Mix.Back = e.State.ShutdownAt
	}
}

// leakPlace returns where the outlet loses air: a fall that follows the
// pressure is choked at the tank's own pressure, a straight one has a regulator before it.
func (e *Engine) leakPlace(at station.Instant) station.LeakPlace {
	m := &e.Mix
	fresh := func(t station.Instant) bool { return t != 0 && at.Sub(t) < leakOld }
	switch {
	case fresh(m.Back):
		return station.PastCheckValves
	case !fresh(m.Decay.At) || m.Decay.Value == 0 || e.Plate.BaseDemand > 0: // the shape is of both
		return station.PlaceUnknown
	case m.Shape == air.ShapeExponential:
		return station.BeforeRegulator
	case m.Shape == air.ShapeStraight:
		return station.BehindRegulator
	}
	return station.PlaceUnknown
}
