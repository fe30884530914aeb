package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	mismatchStrokes = 200  // counted or seen, that a comparison takes
	mismatchSNR     = 2.0  // of the ends' usual score over the least that counts
	mismatchShare   = 0.6  // of draws between ends that agree on that of a stroke
	mostMismatch    = 10.0 // reported at most: a counter that stands still
)

// mismatch compares the strokes that the traces show with those counted, only while ends stand
// clearly out of the noise. Fields are exported for snapshots only.
type mismatch struct {
	Seen, Counted int64
	Clear, Dim    int // slots of the comparison in which the traces could tell, and could not
	From          station.Instant
	Teeth         int64 // seen in the slot
	Count         int64 // counted in it
}

// watchMismatch adds the slot that ended.
func (e *Engine) watchMismatch(end station.Instant) {
	m := &e.Mismatch
	seen, counted := m.Teeth, m.Count
	m.Teeth, m.Count = 0, 0
	if !e.Fuse.Seen {
		return
	}
	if seen == 0 && counted == 0 {
		return
	}
	if !e.tracesClear() {
		m.Dim++
		m.stop()
		return
	}
	if m.From == 0 {
		m.From = end
	}
	m.Clear++
	m.Seen, m.Counted = m.Seen+seen, m.Counted+counted
	if max(m.Seen, m.Counted) < mismatchStrokes {
		return
	}
	v := mostMismatch
	if m.Counted > 0 {
		v = math.Min(v, float64(m.Seen)/float64(m.Counted)-1)
	}
	few := 2 / float64(mismatchStrokes) // a cycle at either end
	e.Est[station.CountMismatch] = station.Estimate{Value: v, Low: v - few - 0.05*(1+v), High: v + few + 0.05*(1+v),
		Method: station.MethodBoth, Confidence: 0.7, From: m.From, At: end}
	*m = mismatch{}
}

// stop gives up a comparison that the traces could not see through.
func (m *mismatch) stop() { m.Seen, m.Counted, m.Clear, m.From = 0, 0, 0, 0 }

// tracesClear tells whether the traces alone would tell the strokes: ends stand out of the
// noise, and the draws between them agree.
func (e *Engine) tracesClear() bool {
	return e.tracesServe() && e.Doubt.Who == 0 && e.State.ShutdownAt == 0 && !e.passing() && e.Supply.Rest > 0 &&
		e.Ends.Learned >= 20 && math.Hypot(e.Ends.J, e.Ends.K) >= mismatchSNR*5 && e.Pace.Sure && e.Pace.Share >= mismatchShare
}

// perCount gives the strokes of an increment of the counter.
func (e *Engine) perCount() int64 {
	if e.Fuse.PerCycle {
		return 2
	}
	return 1
}
