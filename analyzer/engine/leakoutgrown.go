package engine

import (
	"slices"

	"strokewise/analyzer/station"
)

const (
	// steadyBlocks blocks of steadySlots slots, a minute and a half, are what a draw must last without a pause to
	// contradict a leak that was found before. Own choice: cycles of machines pause within it.
	steadyBlocks, steadySlots = 9, 20
	// pausesBelow is the share of a steady draw below which it has paused. Own choice.
	pausesBelow = 0.5
	// leakOutgrown is why a leak is no longer known.
	leakOutgrown = "more leaves the outlet without a pause than that leak and the usual use: it may have grown since"
)

// steadyDraw follows the least draw of the last minute and a half, by the balance of falls. A leak that was found is
// contradicted once more leaves at every moment than it and what the branch has ever drawn without a pause. What
// pauses again was use, since no leak heals: only that is learned. Fields are exported for snapshots
// only.
type steadyDraw struct {
	Block [steadyBlocks]float64 // least of each block, m³/s ANR, the newest last
	N     int                   // blocks in a row
	Open  float64               // least of the open block
	Slots int                   // of it
	Peak  float64               // highest least of the present stretch, m³/s ANR
	Usual float64               // highest least of stretches that paused, m³/s ANR
	Seen  float64               // s in which the draw was known
}

// take adds a slot's draw, m³/s ANR, and reports whether it completes a block at the end of a stretch of full
// length. Unknown draws end the stretch.
func (d *steadyDraw) take(flow float64, known bool) bool {
	if !known {
		d.N, d.Slots, d.Peak = 0, 0, 0
		return false
	}
	if d.Slots == 0 || flow < d.Open {
		d.Open = flow
	}
	if d.Slots++; d.Slots < steadySlots {
		return false
	}
	copy(d.Block[:], d.Block[1:])
	d.Block[steadyBlocks-1], d.Slots = max(0, d.Open), 0
	d.N = min(d.N+1, steadyBlocks)
	const dt = steadySlots * float64(slotLen) * 1e-9
	d.Seen += dt
	d.Usual *= 1 - dt/drawFades
	return d.N == steadyBlocks
}

// least returns the least draw of the stretch, m³/s ANR.
func (d *steadyDraw) least() float64 { return slices.Min(d.Block[:]) }

// learn adds the least of the stretch: what it has fallen from was use.
func (d *steadyDraw) learn(least float64) {
	if least < pausesBelow*d.Peak {
		d.Usual, d.Peak = max(d.Usual, d.Peak), least
	}
	d.Peak = max(d.Peak, least)
}

// outgrows reports whether a draw is more than a bound of the leak, m³/s ANR, and the usual use.
func (d *steadyDraw) outgrows(least, bound float64) bool {
	return d.Seen >= drawKnown && least > outgrownBy*max(bound, d.Usual)
}

// watchLeakGrows handles the slot that ended, after watchFalls: leaks and bounds from before a steady draw that
// contradicts them are dropped.
func (e *Engine) watchLeakGrows(end station.Instant) {
	f, d := &e.Falls, &e.Steady
	if !d.take(f.Flow, e.flowKnown(end)) {
		return
	}
	least, since := d.least(), end.Add(-steadyBlocks*steadySlots*slotLen)
	d.learn(least)
	if g := &e.Est[station.LeakFlow]; g.Known() && g.At <= since && d.outgrows(least, g.High+e.meant().High) {
		e.Mix.Decay, e.Mix.Makeup = later(&e.Mix.Decay, since), later(&e.Mix.Makeup, since)
		e.noLeakKnown(leakOutgrown)
		e.mixLeak(end)
		e.stateFloor(end)
	}
	for i := range e.Floor5.Hours {
		if h := &e.Floor5.Hours[i]; h.At != 0 && h.At <= since && d.outgrows(least, h.Flow) {
			*h = floorHour{}
			e.stateFloor(end)
		}
	}
}

// later returns an estimate that is newer than since, else an unknown one.
func later(g *station.Estimate, since station.Instant) station.Estimate {
	if g.Known() && g.At > since {
		return *g
	}
	return station.Unknown(leakOutgrown)
}
