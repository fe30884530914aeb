package engine

import (
	"strokewise/analyzer/station"
)

const (
	// evenKnown is how many runs make the usual ones known. Own choice.
	evenKnown = 3
	// evenMore is by how much the flow and the swing of a run may exceed the usual ones and count as no
	// more: the scatter of a run of some seconds. Own choice.
	evenMore = 1.15
	// evenBack is the share of the usual inlet at which a fallen one is back. Own choice, half of swingSag above it.
	evenBack = 1 - swingSag/2
)

// evenRuns compares a run of strokes with the usual ones, where the piston does not stand and no resting
// pressure shows the header. At a given line the loss grows with the flow only (ISO 6358), and a line that became
// narrower would also let the inlet swing more, since its strokes draw in gulps:
//
//	flow ~ n p1 (absolute),   swing ~ resistance x flow
//
// An inlet that is lower at no more flow and no more swing stands at a header that fell. A receiver between
// the narrow place and the booster hides the swing; where no swing shows nothing is concluded. Fields
// are exported for snapshots only.
type evenRuns struct {
	Inlet, Flow, Swing float64 // usual: Pa gauge; strokes/s times Pa abs; mean range of a slot, Pa
	Wide               float64 // usual range of a whole run, Pa
	N                  int     // runs that these were learned from
	Fell               bool    // the header fell, and is not back yet
	FellAt             station.Instant
	Sum                float64 // of the ranges of the present run's slots, Pa
	Slots              int
	Struck             int64 // strokes when it began
}

// begin begins a run after so many strokes.
func (u *evenRuns) begin(struck int64) { u.Sum, u.Slots, u.Struck = 0, 0, struck }

// slot adds a slot of the run.
func (u *evenRuns) slot(l *level) {
	if l.N > 1 {
		u.Sum += l.High - l.Low
		u.Slots++
	}
}

// evenRun handles a run in which the inlet stood at p, Pa gauge, on average, and reports whether it shows a
// header that fell.
func (e *Engine) evenRun(p float64) bool {
	s := &e.Supply
	u, seconds := &s.Unrested.Even, float64(s.Done.At.Sub(s.RunFrom))*1e-9
	if u.Slots == 0 || seconds <= 0 || !e.tracesServe() {
		return u.Fell
	}
	flow := float64(e.Struck-u.Struck) / seconds * (p + float64(e.Plate.AmbientPressure()))
	swing, wide := u.Sum/float64(u.Slots), s.Unrested.Top-s.Unrested.Low
	rested := s.RestAt != 0 && s.RunFrom.Sub(s.RestAt) <= pairWithin
	was := u.Fell
	u.Fell = !rested && u.N >= evenKnown && u.fell(p, u.expects(flow, e.sagBefore()), flow, swing, 8*e.Ends.In.Noise())
	if u.Fell && !was && s.RestAt != 0 {
		e.forgetRuns()
	}
	if u.Fell {
		u.FellAt = s.Done.At
	} else {
		u.learn(p, flow, swing, wide)
	}
	return u.Fell
}

// sagBefore returns the share of the header that the line takes, as learned before; where no rest was seen the most that
// the swing allows.
func (e *Engine) sagBefore() float64 {
	s, sag := &e.Supply, 0.0
	if s.SagWeight > 0 {
		sag = s.SagSum / s.SagWeight
	}
	if s.RestAt == 0 {
		sag = max(sag, s.Unrested.Even.sag(e.usualInterval()))
	}
	return sag
}

// expects returns the inlet, Pa gauge, at a flow and the usual header: what the line takes grows with the flow squared
// (ISO 6358 at small sag).
func (u *evenRuns) expects(flow, sag float64) float64 {
	r := flow / u.Flow
	return u.Inlet * (1 - sag*max(0, r*r-1))
}

// fell reports whether a run shows a header that fell: its inlet is lower than expected, and its swing, of at least
// least Pa, is no larger.
func (u *evenRuns) fell(p, expected, flow, swing, least float64) bool {
	if u.Fell {
		return p < evenBack*u.Inlet && swing <= evenMore*u.Swing
	}
	return p < (1-swingSag)*expected && flow <= evenMore*u.Flow && swing <= evenMore*u.Swing && u.Swing >= least
}

// learn adds a run to the usual ones.
func (u *evenRuns) learn(p, flow, swing, wide float64) {
	u.N++
	share := max(swingWeight, 1/float64(u.N))
	u.Inlet += share * (p - u.Inlet)
	u.Flow += share * (flow - u.Flow)
	u.Swing += share * (swing - u.Swing)
	if u.N > 1 { // a fall within the run is no swing
		wide = min(wide, 2*u.Wide)
	}
	u.Wide += share * (wide - u.Wide)
}

// sag returns the share of the header that the line takes at most, by its usual swing: a line whose strokes make the
// inlet swing by less than swingLine of its sag was never seen to make both.
// A slot holds the swing of strokes that are as short as it, else the whole run does.
func (u *evenRuns) sag(interval int64) float64 {
	most := u.Swing / swingLine
	if interval > slotLen {
		most = u.Wide / swingLine
	}
	return most / (u.Inlet + most)
}
