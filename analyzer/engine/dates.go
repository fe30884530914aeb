package engine

import (
	"strokewise/analyzer/motion"
	"strokewise/analyzer/station"
)

// nearest is the shortest time between two ends, share of the usual time between strokes: sides that differ
// by more are no sound ones. Own choice.
const nearest = 0.3

// date lets the dater take the slot's samples, where cycles are counted.
func (e *Engine) date(end station.Instant) {
	if !e.inCycles() {
		return
	}
	in, out := &e.Queues[station.InletPressure], &e.Queues[station.OutletPressure]
	n, k := in.until(end), out.until(end)
	c := motion.Context{Step: e.Ends.In.Step, Works: e.Feed.Works(), Usual: float64(e.Fuse.Interval.Quartile()) * 1e-9}
	if e.Feed.At != 0 {
		c.Header = e.Feed.Level
	}
	e.Dates.Samples(motion.Series{T: in.T[:n], V: in.V[:n]}, motion.Series{T: out.T[:k], V: out.V[:k]}, &c)
}

// halfway returns when the first stroke of the cycle ended that an increment counts, 0 where nothing dates it.
func (e *Engine) halfway(v *event) (at station.Instant) {
	if !e.inCycles() {
		return 0
	}
	if v.n == 1 && e.Fuse.LastInc != 0 {
		usual := v.at.Sub(e.Fuse.LastInc) / 2
		if q := e.Fuse.Interval.Quartile(); q > 0 {
			usual = min(usual, q)
		}
		at = e.Dates.Half(v.at, int64(nearest*float64(usual)))
	}
	e.Dates.End(v.at, e.Counter.Every)
	return at
}
