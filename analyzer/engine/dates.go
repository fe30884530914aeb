package engine

import (
	"strokewise/analyzer/motion"
	"strokewise/analyzer/station"
)

// date lets the dater take the slot's samples, where cycles are counted.
func (e *Engine) date(end station.Instant) {
	if !e.inCycles() {
		return
	}
	in, out := &e.Queues[station.InletPressure], &e.Queues[station.OutletPressure]
	n, k := in.until(end), out.until(end)
	c := motion.Context{Step: e.Ends.In.Step, Works: e.Feed.Works(), Usual: e.quickStroke()}
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
	if v.n == 1 {
		at = e.Dates.Half(v.at, e.quickStroke())
	}
	e.Dates.End(v.at, e.Counter.Every)
	return at
}

// quickStroke returns the lower quartile of the times between strokes, s, 0 while too few were seen.
func (e *Engine) quickStroke() float64 { return float64(e.Fuse.Interval.Quartile()) * 1e-9 }
