package engine

import (
	"math"
	"slices"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	// knownLevel is the share of the sag by which the header's level may be uncertain: a tenth of the
	// flow. Own choice; a third more lets draws count that are off by a seventh.
	knownLevel   = 0.2
	missedCounts = 200  // of a comparison: 15 % missed are then stated as 17.6 +- 3.2 %
	missedEarly  = 50   // counts after which a figure is stated before the comparison has all
	missedPlain  = 0.1  // where the low end of its band is beyond: more counts make it sharper and change nothing that somebody would do
	missedNear   = 0.25 // of a count's draw by which a multiple of it may be off
	missedClear  = 0.25 // of the doubles that may lie between the multiples: pauses lie anywhere, as often there as near them
	unitKeep     = 0.05 // part by which a draw near that of a count moves it: a memory of some 20
	unitAsked    = 64   // draws after which is asked whether the draw of a count still holds
	unitHolds    = 0.4  // share of them that must be near it: with 40 % missed three in five are, near twice of it fewer than one in three
	missedFew    = 0.03 // share of draws between the multiples that says nothing
	missedSays   = 0.05 // share of counts from which on a comparison stands against that of the traces' ends: it does not see a counter of the other kind
	missedFresh  = 60 * station.Minute60
	fewRests     = 6   // slots at rest that show by how much the header moves
	missedBand   = 0.5 // of the sag by which the header may have moved in the last minutes
)

// counts compares the inlet's draw from increment to increment with that of a count: it is 2 to 3 % alike
// whatever the pace, twice as much where an increment is missing, and half where one was counted twice. So the
// multiples of the median are the true counts. Draws between the multiples are pauses that were not seen: where they are
// many, nothing is concluded, nor while the header moves. A counter of the other kind looks right here. Fields are exported for snapshots only.
type counts struct {
	Ring      [16]float64 // draws of the first counts
	N         int         // of them that are taken
	Unit      float64     // draw of a count, 0: not known
	Near, All int         // draws near it, and all, of those that show whether it still holds
	Rests     band        // of the inlet
	True      float64
	Counted   float64
	Doubled   int // draws of another number of counts than were counted
	Between   int
	From      station.Instant
	Told      station.Instant // when a figure was last obtained
	Off       float64         // it
	BalanceAt station.Instant // of the quiet recharges last looked at
}

// countedDraw handles n increments read at a time, before the draw up to them becomes that of the last ones.
func (e *Engine) countedDraw(at station.Instant, n int64) {
	c, w := &e.Mismatch.Counts, &e.Ends
	if e.Fuse.LastInc == 0 || w.Ref <= 0 || !e.tracesServe() || e.Doubt.Who != 0 || e.State.ShutdownAt != 0 || e.passing() || !e.drawKnown(at) {
		return
	}
	drew := w.DrawnBy(at) - e.Counted
	if drew <= 0 {
		return
	}
	if unit := c.unit(drew / float64(n)); unit > 0 {
		e.compareDraw(drew/unit, float64(n), at)
	}
}

// drawKnown reports whether the inlet's draw up to at is known: the header that it is measured from is
// followed, and certain by knownLevel of the present sag; or, at stations whose rests do not show, it has
// hardly moved.
func (e *Engine) drawKnown(at station.Instant) bool {
	if e.followed() {
		return e.Feed.Sd(at) <= knownLevel*e.Ends.Flow*e.Ends.Flow
	}
	return !e.headerMoves() && (e.Inlet.Last.Sub(e.Supply.RestAt) <= mismatchRest || e.Ends.Resumed < e.Fuse.LastInc)
}

// compareDraw handles a draw of some usual ones, in which n increments were counted.
func (e *Engine) compareDraw(times, n float64, at station.Instant) {
	c := &e.Mismatch.Counts
	if c.From == 0 {
		c.From = at
	}
	whole := math.Round(times)
	switch {
	case whole > 4:
		return // the piston stood
	case times < n-missedNear && times > missedNear:
		return // a pause hides part of a draw and never adds to one
	case math.Abs(times-whole) > missedNear:
		c.Between++
		return
	case whole != n:
		c.Doubled++
	}
	c.True, c.Counted = c.True+whole, c.Counted+n
	switch {
	case c.Counted >= missedCounts:
		e.compareCounts(at)
		c.True, c.Counted, c.Doubled, c.Between, c.From = 0, 0, 0, 0, 0
	case c.Counted >= missedEarly && c.True/c.Counted-1-c.band() > missedPlain:
		e.compareCounts(at)
	}
}

// band returns half of the comparison's 90 % band: each draw is of one count more or not (binomial).
func (c *counts) band() float64 {
	return z90 * math.Sqrt(float64(c.Doubled+1)) * c.True / (c.Counted * c.Counted)
}

// noteRest notes the inlet's level at rest, where the slot before showed one.
func (e *Engine) noteRest(end station.Instant) {
	b := &e.Mismatch.Counts.Rests
	if b.pass(end); e.Supply.RestAt == end.Add(-slotLen) {
		b.Now.put(e.Inlet.Before)
	}
}

// headerMoves reports whether the levels at which the inlet rests have lately moved by so much of the sag that
// the draw is not known.
func (e *Engine) headerMoves() bool {
	rests, sag := e.Mismatch.Counts.Rests.all(), e.Est[station.SupplySag]
	if rests.N < fewRests || !sag.Known() {
		return true
	}
	return rests.High-rests.Low > missedBand*sag.Value*e.Supply.Rest
}

// unit returns the draw of a count, 0 before it is known, and learns from another draw: first the median of
// some, for a counter that misses few is in the majority of single ones; then by those near it alone, so that many
// that are missing do not make it two counts'.
func (c *counts) unit(drew float64) float64 {
	if c.Unit == 0 {
		c.Ring[c.N] = drew
		if c.N++; c.N == len(c.Ring) {
			v := c.Ring
			slices.Sort(v[:])
			c.Unit, c.N, c.Near, c.All = (v[len(v)/2-1]+v[len(v)/2])/2, 0, 0, 0
		}
		return 0
	}
	u := c.Unit
	if c.All++; math.Abs(drew/u-1) <= missedNear {
		c.Unit, c.Near = u+unitKeep*(drew-u), c.Near+1
	}
	if c.All == unitAsked {
		if float64(c.Near) < unitHolds*unitAsked {
			c.Unit = 0
		}
		c.Near, c.All = 0, 0
	}
	return u
}

// compareCounts sets the figure.
func (e *Engine) compareCounts(at station.Instant) {
	c := &e.Mismatch.Counts
	v := c.True/c.Counted - 1
	clear := float64(c.Between) <= max(missedClear*float64(c.Doubled), missedFew*c.Counted)
	band := c.band()
	if old := &e.Est[station.CountMismatch]; clear && !e.Mismatch.Bounces.bounced(at) && (math.Abs(v) > missedSays || !old.Known() || math.Abs(c.Off) > missedSays || at.Sub(old.At) > missedFresh) {
		e.Est[station.CountMismatch] = station.Estimate{Value: v, Low: v - band, High: v + band, Method: station.MethodBoth, Confidence: 0.8, From: c.From, At: at}
		e.Basis.Compare = compared{int64(c.True) * e.perCount(), int64(c.Counted) * e.perCount()}
		c.Told, c.Off = at, v
	}
}

// balanceMismatch concludes from quiet recharges that increments are missing: the counted strokes would have delivered
// more than a booster can, beyond the bands of tank, rounds and assumed efficiency. What is stated is the least, so
// 15 % is not seen so where the tank is known within 5 %; 30 % mostly is. That strokes deliver too little
// has other causes, too, and is left to the efficiency.
func (e *Engine) balanceMismatch() {
	c, d, g := &e.Mismatch.Counts, &e.Basis.Quiet, &e.Est[station.CountMismatch]
	if d.At == c.BalanceAt || e.Plate.TankVolume <= 0 || !e.Fuse.CounterServes() || d.Swept <= 0 {
		return
	}
	c.BalanceAt = d.At
	share := e.Recharge.Share
	band := math.Hypot(math.Hypot(station.TankBand, d.Band), air.EfficiencyBand(d.Plain/d.Swept, d.Ratio))
	least := share*(1-band) - 1
	switch {
	case g.Known() && g.Method != station.MethodBound && d.At.Sub(g.At) < missedFresh:
	case least > 0:
		*g = station.Estimate{Value: least, Low: least, High: share*(1+band) - 1, Method: station.MethodBound, Confidence: 0.5, From: d.From, At: d.At}
	case g.Known() && g.Method == station.MethodBound:
		*g = station.Unknown(firstReasons[station.CountMismatch])
	}
}
