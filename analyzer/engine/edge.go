package engine

import (
	"strokewise/analyzer/station"
)

const (
	fallShare  = 0.02                // share of the inlet by which it falls from slot to slot where it is closed
	quickRise  = 5 * station.Second  // within which a line that is fed again comes up to half its rest
	starvesFor = 3 * slotLen         // for which the piston stands below set to be starved
	dateBack   = 30 * station.Second // a boundary is dated back at most
)

// edges are when that began which a state is told from some slots later. A state then begins
// there, though never before the state or the minute that is open: those before are final.
// Fields are exported for snapshots only.
type edges struct {
	Fall    station.Instant // the inlet falls without pause since, 0: it does not
	Gone    bool            // the inlet came near atmosphere since the supply was closed
	UpFrom  station.Instant // it is no longer there since, 0: it is
	Quick   bool            // it came up from there as a line that is fed again
	OpenAt  station.Instant // when the supply was last opened
	Below   station.Instant // the piston stands below set since, 0: it does not
	LowFrom station.Instant // the outlet is below where the piston starts since, 0: it is not, or it is not fed
	Limit   float64         // outlet at which the governor lets the piston start, Pa gauge
	Starts  int             // that it was learned from
	Deep    deepStart
	IncAt   station.Instant // of the counter's last increment
	IncLow  bool            // the outlet was below set then
	IncGaps [2]int64        // ns between the last three, the newest first
}

// lowInlet is the inlet, Pa gauge, below which the supply is closed.
func (e *Engine) lowInlet() float64 { return max(30e3, 0.25*e.Supply.Rest) }

// inlet handles a slot's inlet.
func (x *edges) inlet(l *level, low, rest float64, start station.Instant) {
	if l.N == 0 {
		return
	}
	switch {
	case l.Before-l.Mean > max(fallShare*l.Before, 2e3):
		if x.Fall == 0 {
			x.Fall = start
		}
	default:
		x.Fall = 0
	}
	switch {
	case l.Mean < low:
		x.Gone, x.UpFrom, x.Quick = true, 0, false
	case x.Gone && x.UpFrom == 0:
		x.UpFrom = start
	}
	if x.UpFrom != 0 && start.Sub(x.UpFrom) <= quickRise && rest > 0 && l.Mean > 0.5*rest {
		x.Quick = true
	}
}

// fell gives since when the inlet falls, at the latest at.
func (x *edges) fell(at station.Instant) station.Instant {
	if x.Fall != 0 {
		return x.Fall
	}
	return at
}

// bound gives when state s, which is told in the slot [start, end), began.
func (e *Engine) bound(s station.State, start, end station.Instant) station.Instant {
	x, was := &e.State.Edge, e.State.Current
	at := start
	shut := was == station.Off || was == station.Venting || was == station.Residual
	switch {
	case s == station.Blind:
		at = e.lastSeen(start)
	case was == station.Blind: // nothing shows what was before
	case e.State.ShutdownAt != 0 && !shut:
		at = e.State.ShutdownAt
	case e.State.ShutdownAt != 0:
	case shut:
		at = x.OpenAt
	case was.Working() && s == station.Starved:
		at = x.Below
	case was.Working() && s == station.Holding:
		at = e.worksUntil()
	case s == station.Starved:
		at = x.Below
	case s == station.Charging && was == station.Starved:
		at = e.State.Rise.LowAt
	case s.Working() && was.Working(): // the work goes on, as another state
	case s.Working() && e.followed():
		at = min(start, e.Feed.Began())
	case s.Working():
		if r := e.Ends.Resumed; r > start.Add(-3*station.Second) {
			at = r
		}
	}
	return min(end, max(at, e.State.From, e.Min.M.Start, end.Add(-dateBack)))
}

// lastSeen gives when a channel that has fallen silent was last heard.
func (e *Engine) lastSeen(start station.Instant) station.Instant {
	at := start
	for _, l := range [...]*level{&e.Inlet, &e.Outlet} {
		if l.Seen && l.N == 0 {
			at = min(at, l.Last)
		}
	}
	return at
}

// starves tells whether the piston stands below set, for long enough to be more than the
// moment before it starts.
func (e *Engine) starves(p2, set float64, end station.Instant) bool {
	x, s := &e.State.Edge, &e.State
	if set <= 0 || p2 >= e.standsAt(set) {
		x.Below = 0
		return false
	}
	if x.Below == 0 {
		x.Below = end.Add(-slotLen)
		if s.Current.Working() {
			x.Below = e.worksUntil()
		}
	}
	return s.Current == station.Starved || end.Sub(x.Below) >= starvesFor || !s.Current.Working() && s.Current != station.Holding
}

// slowly reports whether the piston strokes at a slow pace: its counter went on with the outlet
// below set, where the governor is open, no longer ago than one and a half times the lesser
// of the two times between increments before. Neither draw nor delivery of such strokes shows.
func (e *Engine) slowly(end station.Instant) bool {
	x, set := &e.State.Edge, e.set()
	low := set > 0 && e.Outlet.Mean < e.standsAt(set)
	if at := e.Fuse.LastInc; at != x.IncAt {
		x.IncGaps[1], x.IncGaps[0] = x.IncGaps[0], at.Sub(x.IncAt)
		x.IncAt, x.IncLow = at, low
	}
	gap := min(x.IncGaps[0], x.IncGaps[1])
	if e.Plate.Ungoverned {
		return e.followsOn(end)
	}
	return low && x.IncLow && gap > 0 && gap <= e.perCount()*station.SlowestStroke && e.Fuse.CounterServes() && end.Sub(x.IncAt) <= gap*3/2
}

// watchLow follows since when a fed station's outlet is below where the piston starts.
func (e *Engine) watchLow(start station.Instant) {
	x, set := &e.State.Edge, e.set()
	switch {
	case e.Plate.Ungoverned && e.State.ShutdownAt == 0: // its counter is heard at all pressures
		if x.LowFrom == 0 {
			x.LowFrom = start
		}
	case set <= 0 || e.State.ShutdownAt != 0 || e.Outlet.N > 0 && e.Outlet.Mean >= e.standsAt(set):
		x.LowFrom = 0
	case x.LowFrom == 0 && e.Outlet.N > 0:
		x.LowFrom = start
	}
}

// countedStill reports whether the counter shows that the piston stands: no increment for as long as it
// takes at SlowestStroke, all of it with the outlet so low that the governor lets the piston stroke. After a
// standing time at set the first increment comes with the end of a stroke, so its lack proves nothing before.
func (e *Engine) countedStill(end station.Instant) bool {
	x, f := &e.State.Edge, &e.Fuse
	return x.LowFrom != 0 && f.CounterServes() && f.LastInc != 0 && end.Sub(max(f.LastInc, x.LowFrom)) > e.perCount()*station.SlowestStroke
}

const (
	startsKnown = 3                  // starts that tell where the governor lets the piston start
	startsSlack = 6e3                // Pa below that at which a standing piston is starved
	startsAfter = 3 * station.Second // of standing, for a start that counts
	startsMost  = 0.985
	startsFar   = 0.01 // share of set by which one start may differ, to count
	headerFell  = 0.98 // share of the resting inlet below which a header has fallen
)

// standsAt gives the outlet, Pa gauge, below which a standing piston is starved: a little
// under where it usually starts.
func (e *Engine) standsAt(set float64) float64 {
	low := setBand * set
	switch x := &e.State.Edge; {
	case x.Deep.Known && x.Limit < low:
		return x.Limit - startsSlack
	case x.Starts >= startsKnown:
		low = max(low, min(x.Limit-startsSlack, startsMost*set))
	}
	return low
}

// learnStart takes where the piston starts to work after it stood. It starts at the governor's
// limit or, where the outlet falls fast, somewhat below; what seems to be a start above it is a
// stroke that was not seen to go on. So the lower ones count more, and none counts much.
func (e *Engine) learnStart(was station.State) {
	x, p2 := &e.State.Edge, e.Outlet.Before
	if f := &e.Feed; e.followed() && !f.Rests && f.Drew[0] {
		p2 = min(p2, f.StartBy) // a quick fall passes the limit within the slot
	}
	set := e.set()
	if set > 0 && p2 < setBand*set && (was == station.Holding || was == station.Starved) {
		if limit := x.Deep.start(p2, set); limit > 0 {
			x.Limit, x.Starts = limit, max(x.Starts, startsKnown)
		}
		return
	}
	if set <= 0 || p2 > 1.02*set ||
		was != station.Holding && (was != station.Starved || p2 < x.Limit-2*startsFar*set) {
		return
	}
	if x.Starts++; x.Starts == 1 {
		x.Limit = p2
	}
	share := 0.15
	if p2 < x.Limit {
		share = 0.3
	}
	x.Limit += share * max(-startsFar*set, min(startsFar*set, p2-x.Limit))
}
