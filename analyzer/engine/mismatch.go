package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	mismatchStrokes = 200                    // counted or seen, that a comparison takes
	mismatchRun     = 8                      // strokes of a run that counts: shorter ones end in mid-stroke too often
	mismatchPart    = 50                     // strokes after which a long run counts, though it goes on
	mismatchLate    = 3 * station.Second / 2 // by which the traces tell of a stroke at most
	mismatchSNR     = 10.0                   // the ends' usual score, in deviations of noise: twice the least that counts
	mismatchShare   = 0.6                    // of draws between ends that agree on that of a stroke
	mostMismatch    = 10.0                   // reported at most: a counter that stands still
)

// mismatch compares the strokes that the traces show with those counted, over runs of strokes
// in which the ends stand clearly out of the noise. Fields are exported for snapshots only.
type mismatch struct {
	Teeth, Count  int64    // seen and counted in the slot
	Run           compared // in the present run
	All           compared // in the runs of the comparison
	From          station.Instant
	Began         station.Instant // of the run
	Stands        station.Instant // since when the run has ended, 0: it goes on
	Unclear, Runs bool            // the run has a slot in which the traces did not tell; there is a run
	Counts        counts
	Bounces       bounces
}

// compared is strokes as the traces show them and as they were counted.
type compared struct{ Seen, Counted int64 }

func (p *compared) most() int64 { return max(p.Seen, p.Counted) }

// watchMismatch adds the slot that ended.
func (e *Engine) watchMismatch(end station.Instant) {
	m := &e.Mismatch
	seen, counted := m.Teeth, m.Count
	m.Teeth, m.Count = 0, 0
	e.watchBounces(counted, end)
	if !e.Fuse.Seen {
		return
	}
	e.watchSilence(counted, end)
	e.noteRest(end)
	e.balanceMismatch()
	if seen > 0 || counted > 0 {
		if !m.Runs {
			m.Runs, m.Unclear, m.Began = true, false, end
		}
		m.Run.Seen, m.Run.Counted = m.Run.Seen+seen, m.Run.Counted+counted
		m.Unclear = m.Unclear || !e.tracesClear()
	}
	switch {
	case !m.Runs:
	case m.Run.most() >= mismatchPart:
		e.endMismatchRun(end)
	case !e.standing(end):
		m.Stands = 0
	case m.Stands == 0:
		m.Stands = end
	case end.Sub(m.Stands) >= mismatchLate:
		e.endMismatchRun(end)
	}
}

// endMismatchRun adds a run to the comparison, if it tells.
func (e *Engine) endMismatchRun(end station.Instant) {
	m := &e.Mismatch
	run := m.Run
	m.Run, m.Runs, m.Stands = compared{}, false, 0
	// where the draw pauses between strokes, hops of the governor look like strokes
	if m.Unclear || e.Ends.Resumed > m.Began || run.most() < mismatchRun {
		return
	}
	if m.From == 0 {
		m.From = end
	}
	m.All.Seen, m.All.Counted = m.All.Seen+run.Seen, m.All.Counted+run.Counted
	if m.All.most() < mismatchStrokes {
		return
	}
	if m.Counts.Told != 0 && end.Sub(m.Counts.Told) < missedFresh && math.Abs(m.Counts.Off) > missedSays {
		m.All, m.From = compared{}, 0 // the draw of counts says it better
		return
	}
	v := mostMismatch
	if m.All.Counted > 0 {
		v = min(v, float64(m.All.Seen)/float64(m.All.Counted)-1)
	}
	// from the traces alone most stations are within 1 %, all that make runs within 10 %
	band := 0.06 * (1 + v)
	e.Est[station.CountMismatch] = station.Estimate{Value: v, Low: v - band, High: v + band, Method: station.MethodBoth, Confidence: 0.7, From: m.From, At: end}
	e.Basis.Compare = m.All
	m.All, m.From = compared{}, 0
}

// mismatchRest is how old, ns, the inlet's rest may be: a header that fell since makes every draw
// look too large.
const mismatchRest = 20 * station.Second

// tracesClear tells whether the traces alone would tell the strokes: ends stand out of the
// noise, and the draws between them, from a rest that was seen lately, agree.
func (e *Engine) tracesClear() bool {
	return e.tracesServe() && !e.headerMoves() && e.Doubt.Who == 0 && e.State.ShutdownAt == 0 && !e.passing() && e.Supply.Rest > 0 && e.Inlet.Last.Sub(e.Supply.RestAt) <= mismatchRest &&
		e.Ends.Learned >= 20 && math.Hypot(e.Ends.J, e.Ends.K) >= mismatchSNR && e.Pace.Sure && e.Pace.Share >= mismatchShare && !e.Pace.Halved()
}

// inCycles tells whether strokes are counted, and two at a time.
func (e *Engine) inCycles() bool { return e.Fuse.CounterServes() && e.Fuse.PerCycle }

// perCount gives the strokes of an increment of the counter.
func (e *Engine) perCount() int64 {
	if e.Fuse.PerCycle {
		return 2
	}
	return 1
}
