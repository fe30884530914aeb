package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	// mostEta is the volumetric efficiency that no booster exceeds: a little dead volume and a
	// cracking pressure always cost some per cent. Common practice, no source.
	mostEta = 0.97
	// neededOver is the share by which strokes may fall short of the least number that the outlet's
	// rises need before they are refused: an error of 25 % of tank volume or bores. Own choice.
	neededOver = 1.3
	// hiddenShare is the share of strokes that may rise the outlet without a visible draw, until
	// strokes are refused. Own choice.
	hiddenShare = 0.05
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
	Hidden      float64 // part of Least without a visible draw
	Shown       float64 // part of Told without one
	Climbed     float64 // Feed.Climb.Sum at the end of the last slot
	AtEnd       float64 // the same when the newest stroke was told
	Unseen      float64 // Feed.Climb.Hidden then
}

// watchNeeded adds the slot that ended.
func (e *Engine) watchNeeded() {
	n, p := &e.Needed, &e.Plate
	rose := e.Feed.Climb.Sum - n.Climbed
	hid := e.Feed.Climb.Hidden - n.Unseen
	n.Climbed, n.Unseen = e.Feed.Climb.Sum, e.Feed.Climb.Hidden
	if rose < 0 || p.TankVolume <= 0 || p.SweptBoost <= 0 || p.Sensor == station.AtBranch || e.passing() || e.Doubt.Who != 0 || e.State.ShutdownAt != 0 {
		rose = 0
	}
	keep := math.Exp(-float64(slotLen) * 1e-9 / neededFor)
	n.Least, n.Hidden, n.Told = keep*n.Least, keep*n.Hidden, keep*n.Told+float64(e.Act.Strokes)
	n.Shown *= keep
	if f := &e.Feed; f.Rests || !f.Drew[0] {
		n.Shown += float64(e.Act.Strokes)
	}
	if rose > 0 {
		per := p.TankVolume / (air.Kappa * float64(e.inletAbs()) * p.SweptBoost * mostEta)
		n.Least += rose * per
		n.Hidden += hid * per
	}
}

// tooFew reports whether the outlet rose by more than the strokes that were seen can deliver, or
// rose again and again while the inlet was not seen to draw.
func (e *Engine) tooFew() bool {
	n := &e.Needed
	return n.Least > neededOver*n.Told+neededFew || n.Hidden > neededOver*n.Shown+hiddenShare*n.Told+neededFew
}

// leastLifted is the share of a stroke that must have been delivered for a stroke to have ended, where
// its draw was not seen: it may have begun before the end before was told. Own choice.
const leastLifted = 0.3

// stoodUpTo reports whether no stroke can have ended at t: since the end before, the inlet was not seen
// to draw, and the outlet did not rise. Demand alone makes it fall.
func (e *Engine) stoodUpTo(t station.Instant) bool {
	p := &e.Plate
	if e.Fuse.CounterServes() || !e.followed() || e.passing() || p.TankVolume <= 0 || p.SweptBoost <= 0 || p.Sensor == station.AtBranch || e.Feed.DrewSinceEnd(t) {
		return false
	}
	lift := air.Kappa * float64(e.inletAbs()) * p.SweptBoost * mostEta / p.TankVolume
	return lift > 4*e.Ends.Out.Noise() && e.Feed.Climb.Sum-e.Needed.AtEnd < leastLifted*lift
}
