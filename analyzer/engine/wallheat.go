package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	wallTau   = 900.0 // s in which a tank's wall cools to the room (common practice, no source)
	wallShare = 0.04  // of the absolute pressure by which the wall's heat of one content raises it (own choice from 0.3 kg of steel a litre, see wallHeat)
	fillHeat  = 1.0   // heat of compression of a content that is filled in, times p V (by definition: d(pV) at constant V)
	warmHeat  = 0.5   // heat that a content brings along which was compressed outside (own choice, no source)
)

// wallHeat follows how warm the tank's wall may be. The heat of what is filled in goes to
// the air, then to the wall, and from there in a quarter of an hour to the room; meanwhile the
// air sinks with the wall, by less than a leak would show in a minute, and longer. In units of
// p V: the compression of what stays in the tank, and what delivered air brings along,
//
//	h = sum of (dp/p + 0.5 v p0/(p V)) exp(-age/900 s)
//
// A steel tank for 11 bar has some 0.3 kg of wall a litre (common practice, no source), so that
// a fill from empty warms it by about 10 K: 4 % of the pressure. It is a bound, not a figure.
// Fields are exported for snapshots only.
type wallHeat struct {
	H    float64
	At   station.Instant
	P    float64 // outlet then, Pa abs
	Gave station.Microlitres
}

// warmWall adds what the slot that ended brought, once in five seconds.
func (e *Engine) warmWall(end station.Instant) {
	w := &e.Wall
	if e.Outlet.N == 0 || e.Plate.TankVolume <= 0 || end.Sub(w.At) < 5*station.Second {
		return
	}
	p := float64(e.outletAbs())
	if p <= 0 {
		return
	}
	if w.At != 0 {
		gave := (e.Rounds.Delivered - w.Gave).CubicMetres()
		w.H *= math.Exp(-float64(end.Sub(w.At)) * 1e-9 / wallTau)
		w.H += fillHeat*max(0, p-w.P)/p + warmHeat*gave*float64(air.P0ANR)/(p*e.Plate.TankVolume*e.airTemperature().Density())
	}
	w.At, w.P, w.Gave = end, p, e.Rounds.Delivered
}

// rate gives the share of the pressure, 1/s, by which the wall's cooling lowers it at most.
func (w *wallHeat) rate(at station.Instant) float64 {
	return wallShare * w.H * math.Exp(-float64(at.Sub(w.At))*1e-9/wallTau) / wallTau
}
