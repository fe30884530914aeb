package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	stoodBins = 8
	stoodSpan = 2 * station.Minute60 // of a bin
	// refutes is the ratio of a told leak to a bound from which on one of the two is wrong: the tank
	// volume's error, station.TankBand, is in the bound and not in what strokes make up.
	refutes    = 1 + station.TankBand
	noLeakSeen = "the outlet fell more slowly while the piston stood than such a leak would make it: what was drawn otherwise was no leak"
)

// stoodBound is the least bound of the leak by standing times that lie in a bin of time. Fields are
// exported for snapshots only.
type stoodBound struct {
	At   station.Instant // 0: none
	Flow float64         // m³/s ANR at the operating pressure
}

// stand notes the bound of a standing time that lasts up to at.
func (f *leakFloor) stand(at station.Instant, flow float64) {
	b := &f.Stood[int64(at)/stoodSpan%stoodBins]
	if int64(b.At)/stoodSpan != int64(at)/stoodSpan || flow < b.Flow {
		*b = stoodBound{at, flow}
	}
}

// leastStood returns the least bound, m³/s ANR, of standing times from a time on, infinite where
// there is none.
func (f *leakFloor) leastStood(from station.Instant) float64 {
	least := math.Inf(1)
	for i := range f.Stood {
		if b := &f.Stood[i]; b.At != 0 && b.At >= from {
			least = min(least, b.Flow)
		}
	}
	return least
}

// bounded notes a bound of the leak by a standing time that lasts up to at, and looks whether it refutes
// the leak that is told.
func (e *Engine) bounded(at station.Instant, g floorHour) {
	e.Floor5.note(at, g)
	e.Floor5.stand(at, g.Flow)
	if known := &e.Est[station.LeakFlow]; known.Known() && known.Value > refutes*g.Flow {
		e.mixLeak(at)
	}
}

// refuted reports whether the piston has stood, since the window of a leak's conductance began, with
// the outlet falling more slowly than that leak alone makes it: consumers were taken for a leak. A
// leak that began later within the window is told once the window lies behind that.
func (e *Engine) refuted(g *station.Estimate) bool {
	return g.Value*e.operating()*e.airTemperature().Root() > refutes*e.Floor5.leastStood(g.From)
}
