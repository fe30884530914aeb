package engine

import (
	"strokewise/analyzer/station"
)

const (
	dynamicOver = 30 * station.Second // over which the dynamic inlet is a mean
	flatFor     = 60 * station.Second // of a flat outlet that is taken for stall
	flatBand    = 0.005
	mostLoss    = 0.1  // share of the reach without friction that friction takes at most (no source)
	unknownLoss = 0.07 // share that it may take where none was learned (no source)
)

// reach follows the inlet while the piston works or tries to, and the stall below set, which
// tells the friction. Pressures are Pa gauge. Fields are exported for snapshots only.
type reach struct {
	Dynamic   float64 // 0: not seen yet
	At        station.Instant
	FlatFrom  station.Instant // the outlet has been flat since, 0: it is not
	Low, High float64         // of it meanwhile
	Loss      float64         // friction over boost area, Pa; 0: not learned
}

// watchReach takes the slot that ended.
func (e *Engine) watchReach(end station.Instant) {
	r := &e.Reach
	if e.Inlet.N == 0 || e.Outlet.N == 0 || e.State.ShutdownAt != 0 || e.State.Current == station.Blind {
		r.FlatFrom = 0
		return
	}
	if e.State.Current == station.Starved || e.worked(end) {
		if r.Dynamic == 0 {
			r.Dynamic = e.Inlet.Mean
		}
		r.Dynamic += (e.Inlet.Mean - r.Dynamic) * float64(slotLen) / float64(dynamicOver)
		r.At = end
	}
	e.learnStall(end)
}

// learnStall takes an outlet that stays flat below set, near what the forces allow, with the
// piston creeping at most, as stall: what it lacks to the ideal is friction.
func (e *Engine) learnStall(end station.Instant) {
	r, p2, set := &e.Reach, e.Outlet.Mean, e.set()
	ideal := e.balance(e.Inlet.Mean)
	if e.Plate.AreaRatio <= 0 || set <= 0 || p2 > 0.97*set || p2 < (1-mostLoss)*ideal || p2 > ideal {
		r.FlatFrom = 0
		return
	}
	if r.FlatFrom == 0 {
		r.FlatFrom, r.Low, r.High = end, p2, p2
	}
	r.Low, r.High = min(r.Low, p2), max(r.High, p2)
	if r.High-r.Low > flatBand*p2 {
		r.FlatFrom = 0
		return
	}
	if end.Sub(r.FlatFrom) < flatFor || e.Rate.sum(end.Add(-1)) > 4 {
		return
	}
	if r.Loss == 0 {
		r.Loss = ideal - p2
	}
	r.Loss += (ideal - p2 - r.Loss) * float64(slotLen) / float64(station.Minute60)
}

// worked tells whether the piston was seen to work in the slot that ends.
func (e *Engine) worked(end station.Instant) bool {
	return e.Act.LastWork != 0 && end.Sub(e.Act.LastWork) < slotLen
}

// reachable sets the highest outlet within reach.
func (e *Engine) reachable() {
	r := &e.Reach
	switch {
	case e.Plate.AreaRatio <= 0:
		e.Est[station.ReachablePressure] = station.Unknown("needs the bores")
	case r.Dynamic <= 0:
		e.Est[station.ReachablePressure] = station.Unknown("the piston has not worked yet")
	default:
		e.Basis.Reach = reachBasis{r.Dynamic, r.Loss}
		ideal := e.balance(r.Dynamic)
		g := station.Estimate{Value: ideal - r.Loss, Low: (1 - unknownLoss) * ideal, High: ideal, Method: station.MethodPlate, Confidence: 0.5, At: r.At}
		if r.Loss > 0 {
			g.Low, g.High, g.Method, g.Confidence = g.Value-0.02*ideal, min(ideal, g.Value+0.02*ideal), station.MethodTraces, 0.8
		}
		e.Est[station.ReachablePressure] = g
	}
}
