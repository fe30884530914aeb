package engine

import "math"

// widestBand is the share of set by which a governor may let the outlet fall before it opens again (common
// practice, no source). A third more, and the outlet counts as low before the governor opens.
const widestBand = 0.15

// deepStart follows starts of a governor that opens far below set. A piston that stands there although the
// forces would move it either waits for its governor or is stuck; one that starts again and again at the same outlet
// waits. What counts are starts after a stand in which the forces always sufficed, with the outlet falling so
// slowly that the limit was not passed between two slots. Fields are exported for snapshots only.
type deepStart struct {
	Weak  bool    // at some moment of the present stand the forces may not have sufficed
	Steep float64 // steepest fall of the outlet lately, Pa a slot
	P     float64 // outlet at such starts, Pa gauge
	N     int     // of them, alike; others count against them
	Known bool    // the limit follows from them
}

// watchDeep follows the stand in the slot.
func (e *Engine) watchDeep() {
	d := &e.State.Edge.Deep
	if e.State.Current.Working() {
		d.Weak, d.Steep = false, 0
		return
	}
	if e.Outlet.N == 0 || e.Inlet.N == 0 {
		d.Weak = true
		return
	}
	ideal := e.balance(e.Inlet.Mean)
	d.Weak = d.Weak || e.Plate.AreaRatio <= 0 || e.Outlet.Mean > (1-mostLoss)*ideal
	d.Steep = math.Max(0.7*d.Steep, e.Outlet.Before-e.Outlet.Mean)
}

// start notes a start at p2 below the usual band, Pa gauge, and returns the limit that several alike tell, 0: not
// yet.
func (d *deepStart) start(p2, set float64) float64 {
	if p2 < (1-widestBand)*set || d.Weak || d.Steep > startsFar*set {
		return 0
	}
	switch far := 2 * startsFar * set; {
	case d.N == 0 || p2 < d.P-far: // it stood where it was taken to start
		d.P, d.N, d.Known = p2, 1, false
	case p2 > d.P+far: // a stroke that was not seen to go on, or a piston that was stuck before
		d.N--
	default:
		share := 0.15
		if p2 < d.P {
			share = 0.5
		}
		d.P += share * (p2 - d.P)
		d.N = min(d.N+1, deepMost)
	}
	d.Known = d.N >= startsKnown || d.Known && d.N > 0
	if !d.Known {
		return 0
	}
	return d.P
}

// deepMost is how many of these starts count, so that a governor that is turned is learned anew. Own choice.
const deepMost = 2 * startsKnown
