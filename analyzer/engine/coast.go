package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// coasting follows the piston after the governor has closed. Fields are exported for
// snapshots only.
type coasting struct {
	From  station.Instant // when the draw ended, 0: no coast was followed yet
	Till  station.Instant // up to which it is computed
	End   station.Instant // when it stood, 0: it still moves
	Now   air.Coast
	Drawn float64 // draw when it began
}

// unknownLeft is the part of a stroke that is taken as left when the governor closes
// where the draw of a stroke is not known.
const unknownLeft = 0.4

// followCoast begins a coast when the draw ended in the slot, and carries it on to end.
func (e *Engine) followCoast(end station.Instant) {
	c := &e.Coast
	if e.Ends.Ref <= 0 || e.Inlet.N == 0 || e.Outlet.N == 0 || e.passing() {
		c.From = 0
		return
	}
	if e.Ends.Drawn-c.Drawn > leastDraw*e.Pace.Full && e.Ends.Idle.Sub(e.Act.LastWork) < station.Second {
		c.From = 0
		if !e.Ends.Drawing {
			e.beginCoast()
		}
	}
	if c.From == 0 || c.End != 0 || end <= c.Till {
		return
	}
	if moves, last := c.Now.Step(&e.Plate, e.inletAbs(), e.outletAbs(), float64(end.Sub(c.Till))*1e-9); !moves {
		c.End = c.Till.Add(int64(last * 1e9))
	}
	c.Till = end
	if end.Sub(c.From) > longestCoast && c.End == 0 {
		c.End = end
	}
}

// beginCoast begins a coast where the draw ended.
func (e *Engine) beginCoast() {
	left := unknownLeft
	if e.Pace.Full > 0 && !e.Pace.Timed {
		r := (e.Ends.Drawn - e.Pace.Start) / e.Pace.Full
		left = math.Ceil(r) - r
	}
	if now, ok := air.CoastFrom(&e.Plate, e.inletAbs(), e.outletAbs(), left); ok {
		e.Coast = coasting{From: e.Ends.Idle, Till: e.Ends.Idle, Drawn: e.Ends.Drawn, Now: now}
	}
}

// leastDraw is the share of a stroke's draw that is no noise.
const leastDraw = 0.03

const longestCoast = 10 * station.Second

// worksUntil gives the time up to which the piston counts as working after it was last
// seen to at or before end: the end of its coast where that was followed.
func (e *Engine) worksUntil(end station.Instant) station.Instant {
	c, a := &e.Coast, &e.Act
	if c.From == 0 || a.LastWork.Sub(c.From) > station.Second {
		return a.LastWork.Add(e.hold())
	}
	if c.End == 0 {
		return end
	}
	if q := e.Fuse.Interval.Quartile() * 3 / 2; q <= shortStop {
		return max(c.End, a.LastWork.Add(q))
	}
	return c.End
}

// shortStop is how long, ns, a stop between strokes at an even pace is no stall.
const shortStop = 5 * station.Second / 2
