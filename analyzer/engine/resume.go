package engine

import "strokewise/analyzer/station"

// Open returns the start of the open minute and its strokes so far; start 0 before the first sample.
func (e *Engine) Open() (start station.Instant, strokes int64) { return e.Min.M.Start, e.Min.M.Strokes }

// Resume lets an engine that is older than what is stored of its station go on behind it: samples
// before until are dropped, since what they led to is stored, and so are the strokes that were
// counted meanwhile, which the counter's next reading would count once more.
func (e *Engine) Resume(until station.Instant, strokes int64) {
	for i := range e.Queues {
		q := &e.Queues[i]
		q.drop(q.until(until))
	}
	if strokes <= 0 || !e.Counter.Have || !e.Fuse.CounterServes() {
		return
	}
	if !e.Counter.PerCycle {
		e.Counter.Value += float64(strokes)
		return
	}
	n := strokes + e.Fuse.Early // of a cycle half of which was told already
	e.Counter.Value, e.Fuse.Early = e.Counter.Value+float64(n/2), n%2
}
