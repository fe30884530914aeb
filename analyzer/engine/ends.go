package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

// longestWait is how long, ns, a stroke that has ended may wait until it is told.
const longestWait = 2 * station.Second

// mostUnseen bounds the unseen strokes of a slot: more are faster than any booster.
const mostUnseen = 4

// strokes feeds the slot's events to the fuse.
func (e *Engine) strokes() {
	floor := max(e.Min.M.Start, e.First)
	past := max(e.Min.M.Start.Add(-longestWait), e.First)
	e.Act.Teeth, e.Act.Strokes = 0, 0
	for i := range e.events {
		v := &e.events[i]
		switch {
		case v.n > 0:
			e.Mismatch.Count += v.n * e.perCount()
			e.countedDraw(v.at, v.n)
			e.Fuse.Increment(v.at, v.n, e.tracesServe(), past, e.halfway(v), e.emit)
			e.Feed.Stroke(v.at, e.hiddenTravel(v.at, v.n*e.perCount()))
			e.Counted = e.Ends.DrawnBy(v.at)
			e.passed(v.at)
			e.Proof.counted(v.n * e.perCount())
		case e.State.ShutdownAt != 0:
			e.Act.Teeth++ // no stroke without supply; enough of them tell that it is back
		default:
			e.end(&v.found, floor, past)
		}
	}
	if !e.tracesServe() {
		e.Min.Unseen = true
		return
	}
	if e.State.ShutdownAt == 0 && !e.passing() && (e.Pace.Combed || e.Supply.Rest > 0 && e.Inlet.Mean > fedShare*e.usualRest()) {
		for range mostUnseen {
			at := e.Pace.Unseen(e.Ends.Settled())
			if at == 0 {
				break
			}
			e.Mismatch.Teeth++
			e.Fuse.Tooth(max(at, floor), max(at, floor), e.emit)
		}
	}
}

// passing tells whether air also goes straight through the check valves, so that the draw
// tells nothing of strokes.
func (e *Engine) passing() bool { return e.Outlet.Mean < 1.05*e.Inlet.Mean }

// end judges what may be the end of a stroke and passes on the strokes that ended with it
// or, unseen, before it: those are set where the draw paused.
func (e *Engine) end(c *stroke.Candidate, floor, past station.Instant) {
	usual := math.Hypot(e.Ends.J, e.Ends.K)
	if e.passing() {
		e.Pace.Forget(e.Ends.Drawn, e.Ends.Ref <= 0)
	}
	if e.stoodUpTo(c.At) {
		return
	}
	last, before := e.Pace.Last, e.Ends.Placed
	e.weak(c, usual)
	begin := e.Pace.Start
	n := e.Pace.Strokes(c, usual)
	e.drawless(c, begin, usual, n)
	if n == 0 {
		return
	}
	e.Ends.Learn(c)
	end := e.Ends.Place(c.At, e.Outlet.Mean < e.Inlet.Mean)
	if n == 1 && c.Idle <= last && e.Ends.Placed.Twice(&before, e.usualInterval()) {
		n = 2
	}
	alone := n
	if c.Idle > last {
		alone = 0 // the piston stood in between: a hop of the governor has no time of its own
	}
	e.strokeTimes(c.At, alone)
	e.Act.Teeth++
	e.Mismatch.Teeth += int64(n)
	for k := n - 1; k > 0; k-- {
		at, by := c.At.Add(-int64(k)*e.Fuse.Interval.Median()), end.Add(-int64(k)*e.Fuse.Interval.Median())
		if c.Idle > last {
			at, by = c.Idle, e.hidden(end, c.Idle, c.Again, c.Rest-begin)
		}
		e.Fuse.Tooth(max(at, floor), max(by, past), e.emit)
	}
	e.Fuse.Tooth(max(c.At, floor), max(end, past), e.emit)
	if !e.Fuse.CounterServes() {
		e.passed(c.At)
	}
}

// weak lets the usual score sink where candidates have become weaker, all of them: the
// strokes have changed, or the noise has.
func (e *Engine) weak(c *stroke.Candidate, usual float64) {
	if c.Score >= 0.5*usual {
		e.Weak = 0
		return
	}
	if e.Weak++; e.Weak >= 8 {
		e.Ends.Learn(c)
	}
}
