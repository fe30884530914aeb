package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	matchFor  = 20 * station.Second // of readings that fit a mistake
	climbs    = 3                   // that tell that the booster works
	climbOver = 5                   // times the least climb that a peak is high (no source)
	clearly   = 5                   // times the set pressure no tank holds
	nearZero  = 15e3                // Pa gauge
	tinyAfter = 10                  // strokes at an outlet that never was above it
)

// ranges compares readings with what plate and physics let expect while the booster works.
// Fields are exported for snapshots only.
type ranges struct {
	Climb   climbing
	Match   match
	Highest float64 // outlet ever, by slot, Pa gauge
	Tiny    int     // strokes counted while it was near atmosphere
	Reach   int     // strokes counted while the outlet stood out of the inlet's reach
	ReachAt station.Instant
}

// climbing counts how often the outlet climbed to about the same height: a booster does
// that, the air of a closed tank does not. Fields are exported for snapshots only.
type climbing struct {
	Low, High float64 // since the last turn, Pa gauge
	Up        bool
	First     float64 // the first of the peaks that count
	N         int
	Peaks     [climbs]station.Instant // when the last ones were seen, newest first
}

// match is a mistake that the readings fit.
type match struct {
	Is      suspicion
	Who     who
	Unit    int
	For     int64
	From    station.Instant
	High    float64 // highest outlet, Pa gauge
	Strokes int     // counted
	Stood   int     // slots without
}

// slot takes a slot's mean; a turn counts from h Pa.
func (c *climbing) slot(m, h float64, end station.Instant) {
	if c.High == 0 && c.Low == 0 {
		c.Low, c.High = m, m
	}
	c.Low, c.High = min(c.Low, m), max(c.High, m)
	switch {
	case c.Up && m < c.High-h && c.High < climbOver*h: // the wander of a vented line
		c.Up, c.N, c.Low = false, 0, m
	case c.Up && m < c.High-h: // a peak lies behind
		if c.N == 0 || math.Abs(c.High-c.First) > max(0.02*c.First, h) {
			c.N, c.First = 0, c.High
		}
		c.N++
		copy(c.Peaks[1:], c.Peaks[:])
		c.Peaks[0] = end
		c.Up, c.Low = false, m
	case !c.Up && m > c.Low+h:
		c.Up, c.High = true, m
	}
}

// since tells whether the outlet has climbed often enough since t.
func (c *climbing) since(t station.Instant) bool {
	return c.N >= climbs && c.Peaks[climbs-1] >= t
}

// watchRanges looks at the slot that ended.
func (e *Engine) watchRanges(end station.Instant) {
	r := &e.Doubt.Range
	if e.Inlet.N == 0 || e.Outlet.N == 0 {
		return
	}
	p2 := e.Outlet.Mean
	noise := 8 * e.Ends.Out.NoiseRaw / math.Sqrt(float64(e.Outlet.N))
	r.Climb.slot(p2, max(max(0.004*math.Abs(p2), 20), noise), end)
	r.Highest = max(r.Highest, p2)
	e.watchRange(end)
	e.watchTiny(end)
	if e.Plate.Set > 0 {
		e.watchMatch(end)
	}
}

// watchRange doubts an inlet from which the booster could not reach the outlet, while it
// goes on working.
func (e *Engine) watchRange(end station.Instant) {
	r, ratio := &e.Doubt.Range, e.Plate.AreaRatio
	p1, p2 := e.Inlet.Mean, e.Outlet.Mean
	if ratio <= 0 || p1 < 30e3 || p2 < 1.15*p1*(1+ratio) {
		r.Reach, r.ReachAt = 0, 0
		return
	}
	if r.ReachAt == 0 {
		r.ReachAt = end
	}
	if e.Fuse.CounterServes() {
		r.Reach += e.Act.Strokes
	}
	if e.Doubt.Held.Is >= outOfReach || r.Reach < countedShut && (!r.Climb.since(r.ReachAt)) {
		return
	}
	if u := e.inletUnit(); u != nil {
		e.Doubt.Held.hold(wrongUnit, inletDoubted, r.ReachAt, u.of(inletDoubted))
		return
	}
	e.Doubt.Held.hold(outOfReach, inletDoubted, r.ReachAt, station.StateReason{Is: station.OutletBeyondReach, Sides: inletDoubted})
	e.Doubt.Held.Level = p1
}

// watchTiny doubts an outlet that never was above atmosphere though strokes are counted.
func (e *Engine) watchTiny(end station.Instant) {
	r := &e.Doubt.Range
	if r.Highest >= nearZero || !e.Fuse.CounterServes() || end.Sub(e.First) < matchFor {
		r.Tiny = 0
		return
	}
	if r.Tiny += e.Act.Strokes; r.Tiny < tinyAfter {
		return
	}
	if e.Inlet.Mean < nearZero {
		e.Doubt.Held.hold(below, bothDoubted, e.First, station.StateReason{Is: station.BothFlatCounted, Sides: bothDoubted})
		return
	}
	e.Doubt.Held.hold(below, outletDoubted, e.First, station.StateReason{Is: station.OutletFlatCounted, Sides: outletDoubted})
}

// watchMatch looks for a mistake that explains readings that the set pressure does not.
func (e *Engine) watchMatch(end station.Instant) {
	m := &e.Doubt.Range.Match
	is, w, k := e.mistake()
	if is == noSuspicion || is != m.Is || w != m.Who || k != m.Unit {
		*m = match{Is: is, Who: w, Unit: k, From: end}
		if is == noSuspicion {
			return
		}
	}
	m.For += slotLen
	m.High = max(m.High, e.Outlet.Mean)
	if e.Fuse.CounterServes() {
		m.Strokes += e.Act.Strokes
	}
	if e.standing(end) {
		m.Stood++
	}
	if e.Doubt.Held.Is < is && e.sure(m) {
		e.Doubt.Held.hold(is, w, m.From, e.whyMatch(m))
	}
}

// mistake gives what the slot's readings fit: the outlet, the inlet, both in a wrong unit, or
// exchanged.
func (e *Engine) mistake() (suspicion, who, int) {
	p1, p2, set := e.Inlet.Mean, e.Outlet.Mean, float64(e.Plate.Set)
	low, high := e.inletRange()
	if p2 > 0.55*set && p2 < 1.12*set {
		for i := range units {
			if f := units[i].factor; f > 2 && p1 > 1.25*p2 && p1 > low*f && p1 < high*f {
				return wrongUnit, inletDoubted, i
			}
		}
		if p1 > 0.85*set && p1 < 1.06*set && p2 > low && p2 < min(0.9*p1, 0.92*set) && math.Abs(e.Outlet.slope()) < 2e3+4*e.Ends.Out.Noise() {
			return exchanged, bothDoubted, 0
		}
		return noSuspicion, 0, 0
	}
	for i := range units {
		f := units[i].factor
		if p2 < 0.55*f*set || p2 > 1.12*f*set {
			continue
		}
		if p1 > low*f && p1 < high*f {
			return wrongUnit, bothDoubted, i
		}
		if p1 > low && p1 < high {
			return wrongUnit, outletDoubted, i
		}
	}
	return noSuspicion, 0, 0
}

// sure tells whether a mistake has been seen for long enough, with the booster at work: it
// stops at the set pressure and begins again, so the outlet climbs to the same height.
func (e *Engine) sure(m *match) bool {
	u := &units[m.Unit]
	switch {
	case m.Is == exchanged:
		return m.For >= 3*matchFor/2
	case m.Who == inletDoubted:
		return m.For >= matchFor
	case u.factor >= clearly:
		return m.For >= 2*slotLen
	}
	c := &e.Doubt.Range.Climb
	works := c.since(m.From) || m.Strokes >= countedShut && m.Stood >= 10
	return works && m.For >= matchFor && m.High > 0.88*u.factor*float64(e.Plate.Set)
}

func (e *Engine) whyMatch(m *match) station.StateReason {
	u := &units[m.Unit]
	switch {
	case m.Is == exchanged:
		return station.StateReason{Is: station.ExchangedAtSet, Sides: bothDoubted}
	case m.Who == bothDoubted:
		return station.StateReason{Is: station.UnitsAgainstSet, Sides: bothDoubted, Mistake: u.is}
	case m.Who == inletDoubted:
		return u.of(inletDoubted)
	}
	return u.of(outletDoubted)
}
