package engine

import (
	"strokewise/analyzer/motion"
	"strokewise/analyzer/station"
)

// date lets the dater take the slot's samples, where cycles are counted or the traces alone show strokes.
func (e *Engine) date(end station.Instant) {
	if e.Fuse.CounterServes() && !e.Fuse.PerCycle {
		return
	}
	in, out := &e.Queues[station.InletPressure], &e.Queues[station.OutletPressure]
	n, k := in.until(end), out.until(end)
	c := motion.Context{Step: e.Ends.In.Step, Works: e.Feed.Works(), Usual: e.quickStroke()}
	if e.Feed.At != 0 {
		c.Header = e.Feed.Level
	}
	e.Dates.Samples(motion.Series{T: in.T[:n], V: in.V[:n]}, motion.Series{T: out.T[:k], V: out.V[:k]}, &c)
	switch {
	case e.Fuse.CounterServes():
	case e.passing(): // what passes through the check valves hides ends
		e.Dates.Pass()
	default:
		e.Dates.Survey(c.Usual, float64(e.Fuse.Interval.Median())*1e-9)
	}
}

// mostDoubt is the share of strokes that traces alone may have missed or made up, by what ends look like,
// up to which their number is told. It bounds how far the number may be off, but not closely, since it does not
// know that strokes follow one another evenly: doubts of a fifth go with numbers that are right. Set on tune
// stations: of 46 none is told and off by 10 % at 0.33, with five told fewer than without a limit, one of
// 16 at 0.45, two of 18 at 0.6.
const mostDoubt = 0.45

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
