package engine

import (
	"strokewise/analyzer/station"
)

const (
	swingLine   = 0.3  // swing over sag from which on the line is known to make both (no source)
	swingNone   = 0.1  // below which the sag is none of the line's (no source)
	swingAgain  = 0.2  // from which on it is again
	swingSag    = 0.05 // least sag that is doubted
	swingWeight = 0.1  // of a run in the usual swing
	fellShare   = 0.95 // of the static pressure, below which the header has fallen
)

// unrested looks at runs of strokes since the inlet last rested: the pressure before the line
// is remembered from then. A line that makes the inlet sag lets it swing too, since the draw
// pauses at each turn of the piston; an inlet that is low without swinging stands at a header
// that fell. Then nothing is learned of the line until the inlet rests or swings again. Where
// the inlet never swung (a tank before the booster, few samples) nothing is doubted. Fields are
// exported for snapshots only.
type unrested struct {
	Top, Low float64    // inlet of the run from its second slot on, Pa gauge
	Usual    float64    // swing over sag of runs that began at rest, 0: not seen yet
	Runs     int        // since the inlet rested
	Before   supplySums // when it rested
	Doubt    bool       // the header fell: runs tell nothing of the line
	Even     evenRuns
}

// supplySums are what sag and conductance are made of.
type supplySums struct{ SagSum, SagWeight, Rested float64 }

func (s *supply) sums() supplySums {
	return supplySums{s.SagSum, s.SagWeight, s.Rested}
}

func (s *supply) restore(b supplySums) {
	s.SagSum, s.SagWeight, s.Rested = b.SagSum, b.SagWeight, b.Rested
}

// swing follows the inlet over a slot of a run.
func (u *unrested) swing(l *level, slots int) {
	u.Even.slot(l)
	switch {
	case l.N == 0 || slots < 2:
	case u.Low == 0:
		u.Top, u.Low = l.High, l.Low
	default:
		u.Top, u.Low = max(u.Top, l.High), min(u.Low, l.Low)
	}
}

// unrestedRun handles a run in which the inlet stood at p, Pa gauge, and tells whether the line
// may be learned from it.
func (e *Engine) unrestedRun(p float64) bool {
	s := &e.Supply
	u := &s.Unrested
	if u.Runs++; u.Runs == 1 {
		u.Before = s.sums()
	}
	if e.evenRun(p) {
		return false
	}
	sag := s.Static - p
	if u.Low == 0 || sag <= leastSag*s.Static || !e.tracesServe() {
		return !u.Doubt
	}
	swing := (u.Top - u.Low) / sag
	if s.RunFrom.Sub(s.RestAt) <= pairWithin {
		if u.Usual == 0 {
			u.Usual = swing
		}
		u.Usual += swingWeight * (swing - u.Usual)
		return !u.Doubt
	}
	switch {
	case swing < swingNone && u.Usual >= swingLine && sag > swingSag*s.Static && !u.Doubt:
		e.forgetRuns()
		u.Doubt = true
	case swing >= swingAgain:
		u.Doubt = false
	}
	return !u.Doubt
}

// forgetRuns takes back what runs since the last rest have told of the line.
func (e *Engine) forgetRuns() {
	e.Supply.restore(e.Supply.Unrested.Before)
	e.Line.Base.N = 0
}

// rested handles a slot in which the inlet rests at p, Pa gauge.
func (e *Engine) rested(p float64) {
	s := &e.Supply
	u := &s.Unrested
	if u.Runs > 0 && !u.Doubt && p < fellShare*s.Static {
		e.forgetRuns()
		if e.Est[station.SupplySag].Known() {
			e.estimateSupply(s.RestAt)
		}
	}
	u.Runs, u.Doubt, u.Even.Fell = 0, false, false
}
