package engine

import (
	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	// wholeDraw is the share of a stroke's usual draw from which a stroke is taken to have ended
	// before the draw paused; with less it ended when the draw began again, often in the moment
	// that the piston moved on. Set on recordings of an independent model.
	wholeDraw = 0.95
	// unlike is by how much of a stroke's draw a cycle's part behind a pause must exceed the one
	// before it for its first stroke to have ended behind it. There, strokes that ended before the
	// pause left less than none, others up to 1.2.
	unlike = 0.1
)

// hidden gives when a stroke ended that nothing showed, one before that which ended at end, if
// the draw paused from paused to again between them. drew is the draw of the stroke up to the pause.
func (e *Engine) hidden(end, paused, again station.Instant, drew float64) station.Instant {
	if drew >= wholeDraw*e.Pace.Full {
		return paused
	}
	usual := e.Fuse.Interval.Median()
	return max(end.Add(-usual), again.Add(-usual/5))
}

// goesOn tells whether the draw goes on behind the newest end: where it ceased, the governor may
// have closed in mid-stroke.
func (e *Engine) goesOn() bool { return e.Ends.Drawing }

// halfway gives when the first stroke of the cycle ended that the counter counted at at, 0 where
// nothing tells. Where the draw paused within the cycle, the draw on either side tells whether
// that stroke ended before the pause or behind it.
func (e *Engine) halfway(at station.Instant) station.Instant {
	n, began, usual := &e.Ends, e.Fuse.LastInc, e.Fuse.Interval.Quartile()
	switch {
	case began == 0:
		return 0
	case usual == 0 && at.Sub(began) < 2*station.Second:
		return at.Add(-at.Sub(began) / 2)
	case usual == 0 || e.Pace.Full <= 0 || e.Pace.Timed || n.Paused <= began || n.Resumed >= at:
		return 0
	}
	drew, behind := n.AtPause-e.Counted, n.DrawnBy(at)-n.AtPause
	if behind-drew < unlike*e.Pace.Full {
		if e.Fuse.Held > began {
			return e.Fuse.Held
		}
		return n.Paused
	}
	from, to := n.Resumed.Add(-usual/5), at.Add(-usual/2)
	if late := e.Fuse.Late; late > from && late < to {
		return late
	}
	return n.Between(from, to, max(from, at.Add(-usual)))
}

// drawless follows ends that stand out and that hardly any draw lies between: what was taken for
// the inlet's rest was none, a slow piston worked. Fields are exported for snapshots only.
type drawless struct {
	N  int             // such ends in a row
	At station.Instant // when the inlet was last taken to rest, as of then, 0: the draw tells
}

// drawless takes a candidate behind a draw that began at begin, of which n strokes were made.
// Then strokes are told by time, until the inlet rests again.
func (e *Engine) drawless(c *stroke.Candidate, begin, usual float64, n int) {
	d := &e.Drawless
	switch {
	case n > 0 && e.Pace.Full > 0:
		d.N = 0
	case c.Score > 0.6*usual && e.Pace.Full > 0 && c.Area-begin < 0.3*e.Pace.Full:
		d.N++
	}
	if d.N >= 5 {
		*d = drawless{At: e.Supply.RestAt}
		e.Ends.Comb = nil
	}
}
