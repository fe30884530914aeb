package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// vented is the pressure, Pa gauge, below which a line counts as near atmosphere.
	vented = 20e3
	// fedShare is the share of the resting inlet pressure below which a standing
	// station's supply is taken as closed (a fed one rests at the header's pressure).
	fedShare = 0.9
	// closedAfter is how long, ns, the inlet must rest low for that.
	closedAfter = 3 * station.Second
	// setBand is the share of the set pressure below which a standing piston is starved.
	setBand = 0.95
)

// stateNow is the open state interval.
type stateNow struct {
	Current    station.State
	From       station.Instant
	Reason     station.StateReason
	Charging   bool // the outlet was low and has not reached set since
	Rise       rise
	Edge       edges
	ShutdownAt station.Instant
	ShutdownBy station.ShutdownSource
	LowSince   station.Instant // inlet resting low since, 0: it is not
	OKSince    station.Instant // inlet back since
	LastOutlet float64         // last believed outlet reading, Pa gauge
	HadOutlet  bool
	Seen       lastSeen
	TopOutlet  float64 // highest outlet of the current run, Pa gauge
}

// activity tells when the piston was last seen to work.
type activity struct {
	Teeth     int // in this slot
	Strokes   int // in this slot
	LastTooth station.Instant
	LastWork  station.Instant // end of the last slot in which the inlet drew or a stroke ended
	DrawFrom  station.Instant // start of the present draw, 0: none
	Recent    int             // teeth within a few seconds, for the return of supply
	RecentAt  station.Instant
}

func (a *activity) gap() { *a = activity{} }

// decide sets the state of the slot [start, end).
func (e *Engine) decide(start, end station.Instant) {
	e.watchLow(start)
	e.watchDeep()
	e.work(start, end)
	e.doubtSensors(end)
	e.watchMismatch(end)
	e.watchNeeded()
	e.Jitter.look(&e.Ends.In, e.Inlet.N, end)
	e.supplyState(start, end)
	s, why := e.classify(end)
	start = max(start, e.First)
	at := start
	if s == e.State.Current {
		e.State.Reason = why
	} else {
		at = e.bound(s, start, end)
		e.Min.add(e.State.Current, at.Sub(start)) // less than nothing where it is dated back
		e.enter(s, at, why)
	}
	e.Min.add(s, end.Sub(at))
	e.Unsure.slot(e, s, start, end)
	e.learn(start, end)
}

// work notes whether the piston was seen to work in the slot.
func (e *Engine) work(start, end station.Instant) {
	a := &e.Act
	if a.Teeth > 0 {
		a.LastTooth = max(a.LastTooth, min(end, e.Pace.Last))
		if end.Sub(a.RecentAt) > MaxLag {
			a.Recent = 0
		}
		a.Recent += a.Teeth
		a.RecentAt = end
	}
	drawing := e.drawing()
	if drawing {
		e.Min.DrawnSlots++
	}
	if !drawing {
		a.DrawFrom = 0
	} else if a.DrawFrom == 0 {
		a.DrawFrom = start
	}
	if e.followed() && e.State.ShutdownAt == 0 { // a closed line has no header to follow
		e.followedWork(start, end)
		return
	}
	// a draw without a tooth for long is a header that went down, not a stroke
	fresh := drawing && !e.countedPassing() && (end.Sub(max(a.DrawFrom, a.LastTooth)) <= 2*station.Second || e.seenDrawing())
	if fills := e.fills(start, end); fresh || fills {
		a.LastWork = end
	} else if a.Teeth > 0 || a.Strokes > 0 {
		a.LastWork = max(a.LastWork, min(end, e.Fuse.Newest()))
	}
}

// countedPassing reports whether the draw shows no stroke: air passes straight through the check valves, and
// the counter shows the strokes.
func (e *Engine) countedPassing() bool { return e.passing() && e.Fuse.CounterServes() }

// drawing tells whether the inlet stands below its resting pressure by more than noise.
func (e *Engine) drawing() bool {
	rest := e.feedNow()
	if rest == 0 || e.Inlet.N == 0 {
		return false
	}
	return e.below(rest)
}

// feedNow returns the pressure at which the inlet would rest now, Pa gauge, 0 if unknown.
func (e *Engine) feedNow() float64 {
	if e.followed() {
		return e.Feed.Level
	}
	rest := e.Supply.Rest
	if x, ok := e.headerNow(e.Slot); ok && e.Hdr.RestAt != 0 && x < headerFell*rest {
		return x
	}
	return rest
}

// seenDrawing tells whether there is a sensor of the header, and the inlet stands below it by
// more than noise.
func (e *Engine) seenDrawing() bool {
	x, ok := e.headerNow(e.Slot)
	return ok && e.Hdr.RestAt != 0 && e.below(x)
}

// below tells whether the inlet stands below a pressure by more than noise.
func (e *Engine) below(p float64) bool {
	noise := e.Ends.In.NoiseRaw / math.Sqrt(float64(e.Inlet.N))
	return p-e.Inlet.Mean > max(4*noise, 0.004*p)
}

// followedWork notes the work that the followed header shows.
func (e *Engine) followedWork(start, end station.Instant) {
	switch fills := e.fills(start, end); {
	case fills || e.Feed.Works() && !e.passing():
		e.Act.LastWork = end
	case e.Feed.Works(): // what passes through the check valves is no work, but its strokes are
		e.Act.LastWork = max(e.Act.LastWork, min(end, e.Fuse.Newest()))
	case e.Act.LastWork != 0:
		e.Act.LastWork = min(e.Act.LastWork, max(e.Feed.Until(), e.State.From))
	}
}

// working reports whether the piston works at end. What strokes works, and what the counter shows to stand
// does not.
func (e *Engine) working(end station.Instant) bool {
	slowly := e.slowly(end)
	switch {
	case e.Act.LastWork == 0 || e.countedStill(end):
		return false
	case slowly || e.passing() && e.strokesOn(end):
		return true
	}
	return end <= e.Act.LastWork.Add(2*e.hold())
}

// strokesOn reports whether strokes go on: the newest ended no longer ago than two usual intervals. Those of
// the traces alone must be several, since a consumer's pulse looks like one.
func (e *Engine) strokesOn(end station.Instant) bool {
	usual := e.usualInterval()
	if !e.Fuse.CounterServes() && e.Rate.within(end.Add(-1), 10) < severalStrokes {
		return false
	}
	return usual > 0 && e.Fuse.LastAt != 0 && end.Sub(e.Fuse.LastAt) <= max(2*usual, slotLen)
}

// severalStrokes is how many strokes in ten seconds are no consumer's pulses. Own choice.
const severalStrokes = 5

// hold returns how long, ns, the piston counts as working after a stroke that nothing else shows
// the work of: a usual interval, in which the next one travels before and after the pause. Where
// the header is followed it is 0.
func (e *Engine) hold() int64 {
	if e.followed() {
		return 0
	}
	return min(max(e.Fuse.Interval.Quartile(), leastHold), station.SlowestStroke)
}

// leastHold, ns, is taken while no interval is known. Own choice.
const leastHold = station.Second / 2

// worksUntil returns the time up to which the piston worked, once it stands.
func (e *Engine) worksUntil() station.Instant { return e.Act.LastWork.Add(e.hold()) }

// supplyState follows whether the inlet is fed.
func (e *Engine) supplyState(start, end station.Instant) {
	s := &e.State
	p1, rest, proven := e.Inlet.Mean, e.usualRest(), e.proveFed()
	s.Edge.inlet(&e.Inlet, e.lowInlet(), e.Supply.Rest, start)
	switch {
	case e.Valve.Known && !e.Valve.Open:
		s.shut(start, station.ByValve)
	case !e.Inlet.Seen || end.Sub(e.Inlet.Last) > e.blindAfter(&e.Ends.In):
		// nothing to tell from
	case e.Doubt.Who&inletDoubted != 0:
		e.doubtedSupply(start, end)
	case p1 < e.lowInlet():
		s.shut(s.Edge.fell(start), station.ByInlet)
	case s.ShutdownAt != 0:
		e.reopen(start, end, proven)
	case rest > 0 && p1 < fedShare*rest && e.Act.Teeth == 0 && e.Act.Strokes == 0 && !(e.Valve.Known && e.Valve.Open) && e.calm() && !e.fedByHeader(end):
		if s.LowSince == 0 {
			s.LowSince = start
		}
		if end.Sub(s.LowSince) >= closedAfter {
			s.shut(start, station.ByInlet)
		}
	default:
		s.LowSince = 0
	}
}

// calm tells whether the inlet does not move within the slot: strokes that cannot be told
// apart would.
func (e *Engine) calm() bool {
	return e.Inlet.N < 2 || e.Inlet.High-e.Inlet.Low < max(8*e.Ends.In.Noise(), 0.005*e.Inlet.Mean)
}

// reopen ends a shutdown when the inlet is back, or when the booster strokes again. One that the inlet
// told of and that the balances refute never was.
func (e *Engine) reopen(start, end station.Instant, proven bool) {
	s := &e.State
	if proven && s.ShutdownBy == station.ByInlet {
		s.Edge.OpenAt = s.ShutdownAt
		s.ShutdownAt, s.ShutdownBy, s.LowSince, s.OKSince = 0, station.NoShutdown, 0, 0
		e.Act.LastWork = end
		return
	}
	back := (e.Inlet.Mean >= fedShare*e.usualRest() || e.fedByHeader(end) || s.Edge.Quick) && e.Inlet.Mean >= 30e3
	strokes := e.Act.Recent >= 4 && end.Sub(e.Act.RecentAt) < 2*station.Second
	if !back && !strokes {
		s.OKSince = 0
		return
	}
	if s.OKSince == 0 {
		s.OKSince = start
	}
	if strokes || end.Sub(s.OKSince) >= station.Second {
		s.Edge.OpenAt = s.OKSince
		if s.Edge.UpFrom != 0 {
			s.Edge.OpenAt = s.Edge.UpFrom
		}
		if s.Rise.rises(end) {
			e.Act.LastWork = end
		}
		s.ShutdownAt, s.ShutdownBy, s.LowSince, s.OKSince = 0, station.NoShutdown, 0, 0
	}
}

func (s *stateNow) shut(at station.Instant, by station.ShutdownSource) {
	if s.ShutdownAt == 0 {
		s.ShutdownAt, s.ShutdownBy = at, by
		if s.LowSince != 0 {
			s.ShutdownAt = s.LowSince
		}
		s.Charging = false
		s.Edge.UpFrom, s.Edge.Quick, s.Edge.Gone = 0, false, false
	}
	s.OKSince = 0
}

// set gives the set pressure, Pa gauge, from the plate or learned, 0 if unknown.
func (e *Engine) set() float64 {
	if e.Plate.Set > 0 {
		return float64(e.Plate.Set)
	}
	return e.Supply.LearnedSet
}

// classify returns the state at the end of a slot and why it was concluded.
func (e *Engine) classify(end station.Instant) (station.State, station.StateReason) {
	none := station.StateReason{}
	if !e.Inlet.Seen || end.Sub(e.Inlet.Last) > e.blindAfter(&e.Ends.In) {
		return station.Blind, station.StateReason{Is: station.NoInletReading, Sides: inletDoubted}
	}
	if !e.Outlet.Seen || end.Sub(e.Outlet.Last) > e.blindAfter(&e.Ends.Out) {
		return station.Blind, station.StateReason{Is: station.NoOutletReading, Sides: outletDoubted}
	}
	if e.Doubt.Who != 0 {
		return station.Blind, e.Doubt.Reason
	}
	p2, s := e.Outlet.Mean, &e.State
	s.seen(p2, end)
	if s.ShutdownAt != 0 {
		s.Edge.Below = 0
		return e.shutState(p2)
	}
	set := e.set()
	e.charge(p2, set, end)
	switch {
	case e.working(end):
		s.Edge.Below = 0
		if s.Charging {
			return station.Charging, none
		}
		return station.Stroking, none
	case e.starves(p2, set, end):
		return station.Starved, station.StateReason{Is: station.StandsBelowSet}
	case s.Edge.Below != 0 && s.Current.Working():
		return s.Current, s.Reason // not yet known
	default:
		return station.Holding, none
	}
}

func (e *Engine) shutState(p2 float64) (station.State, station.StateReason) {
	why := station.StateReason{Is: station.SupplyClosed, By: e.State.ShutdownBy}
	switch {
	case p2 < vented:
		return station.Off, why
	case e.Outlet.slope() < -max(5e3, 0.02*p2):
		return station.Venting, why
	default:
		return station.Residual, why
	}
}

// enter closes the open interval at time at and opens the next.
func (e *Engine) enter(s station.State, at station.Instant, why station.StateReason) {
	old := &e.State
	if old.Current == s {
		old.Reason = why
		return
	}
	if at > old.From {
		e.obs.Interval(station.Interval{State: old.Current, From: old.From, To: at, Segment: e.Segment})
	}
	if s == station.Stroking && at.Sub(old.From) >= startsAfter {
		e.learnStart(old.Current)
	}
	was := old.Current
	old.Current, old.From, old.Reason = s, at, why
	e.fitQuiet(s, at)
	e.Leak.stateChanged(was, s)
}
