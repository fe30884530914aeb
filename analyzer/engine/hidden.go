package engine

import (
	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

// wholeDraw is the share of a stroke's usual draw from which a stroke is taken to have ended
// before the draw paused; with less it ended when the draw began again, often in the moment
// that the piston moved on. Set on recordings of an independent model.
const wholeDraw = 0.95

// hidden gives when a stroke ended that nothing showed, one before that which ended at end, if
// the draw paused from paused to again between them. drew is the draw of the stroke up to the pause.
func (e *Engine) hidden(end, paused, again station.Instant, drew float64) station.Instant {
	if drew >= wholeDraw*e.Pace.Full {
		return paused
	}
	usual := e.Fuse.Interval.Median()
	return max(end.Add(-usual), again.Add(-usual/5))
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
