package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// mostEta is the volumetric efficiency that no booster exceeds: a little dead volume and a
	// cracking pressure always cost some per cent. Common practice, no source.
	mostEta = 0.97
	// neededOver is the share by which strokes may fall short of the least number that the outlet's
	// rises need before they are refused: an error of 25 % of tank volume or bores. Own choice.
	neededOver = 1.3
	// darkShare is the share of the working time in which neither a draw nor a stroke may be seen,
	// until strokes are refused: so many may have been missed. What is off by more is called wrong.
	darkShare = 0.1
	// darkFew is the dark time, s, that is no contradiction: the ends of runs.
	darkFew = 3.0
	// neededFew strokes more are no contradiction: those of a rise's ends.
	neededFew = 3.0
	// neededFor is the time, s, over which the past fades.
	neededFor = 180.0
)

// needed compares the strokes that the traces show with the least number that the tank's mass
// balance needs for the outlet's rises. A stroke lifts the outlet of a closed tank by
//
//	kappa p1 V_b eta/V_t
//
// at most, since the air has no time to cool; demand only takes from that. Fields are exported for
// snapshots only.
type needed struct {
	Least, Told float64 // strokes, the past fading
	Work, Dark  float64 // s of work, and of work without a visible draw, the past fading
	Shown       float64 // part of Told without one
	Climbed     float64 // Feed.Climb.Sum at the end of the last slot
	AtEnd       float64 // the same when the newest stroke was told
	Drawing     float64 // Ends.Worked then
}

// watchNeeded adds the slot that ended.
func (e *Engine) watchNeeded() {
	n := &e.Needed
	rose, lift := e.Feed.Climb.Sum-n.Climbed, e.strokeLift(mostEta)
	drew := e.Ends.Worked - n.Drawing
	n.Climbed, n.Drawing = e.Feed.Climb.Sum, e.Ends.Worked
	const dt = float64(slotLen) * 1e-9
	keep := math.Exp(-dt / neededFor)
	n.Least, n.Told, n.Shown = keep*n.Least, keep*n.Told+float64(e.Act.Strokes), keep*n.Shown
	n.Work, n.Dark = keep*n.Work, keep*n.Dark
	if f := &e.Feed; f.Rests || !f.Drew[0] {
		n.Shown += float64(e.Act.Strokes)
	}
	if e.followed() && e.Feed.Works() && !e.passing() {
		n.Work += dt
		if drew < dt/5 {
			n.Dark += dt
		}
	}
	if rose > 0 && lift > 0 && e.Plate.Sensor != station.AtBranch && !e.passing() && e.Doubt.Who == 0 && e.State.ShutdownAt == 0 {
		n.Least += rose / lift
	}
}

// tooFew returns why the strokes that were seen cannot be all, "" where nothing speaks against it.
func (e *Engine) tooFew() string {
	n := &e.Needed
	dark := n.Dark - n.Shown*float64(e.usualInterval())*1e-9
	switch {
	case n.Least > neededOver*n.Told+neededFew:
		return "strokes are not all seen: no counter, and the outlet rises by more than those that were seen deliver"
	case dark > darkShare*n.Work+darkFew:
		return "strokes are not all seen: no counter, and the piston works for long without a draw or a stroke that shows"
	}
	return ""
}

// leastLifted is the share of a stroke that must have been delivered for a stroke to have ended, where
// its draw was not seen: it may have begun before the end before was told. Own choice.
const leastLifted = 0.3

// stoodUpTo reports whether no stroke can have ended at t: since the end before, the inlet was not seen
// to draw, and the outlet did not rise. Demand alone makes it fall.
func (e *Engine) stoodUpTo(t station.Instant) bool {
	if e.Fuse.CounterServes() || !e.followed() || e.passing() || e.Plate.Sensor == station.AtBranch || e.Feed.DrewSinceEnd(t) {
		return false
	}
	lift := e.strokeLift(mostEta)
	return lift > 4*e.Ends.Out.Noise() && e.Feed.Climb.Sum-e.Needed.AtEnd < leastLifted*lift
}
