package rules

import (
	"math"

	"strokewise/analyzer/station"
)

// HeaderHolds is the kind of the record by which a header answers a station whose supply seems to be
// closed: its inlet follows the header.
const HeaderHolds = "header-holds"

// Answers reports whether a kind of record is no person's word, but the answer of a site or header.
func Answers(kind string) bool { return kind == OverTime || kind == HeaderHolds }

// holdLease is how long a header's answer counts, ns: one that comes no more is noticed within it. Own
// choice.
const holdLease = 120 * station.Second

// supposed is what a header says to a shutdown that the inlet alone showed.
//
// A standing station that is fed reads its header; so a header that is lowered makes every idle station
// look shut in. The other stations of the header tell: an inlet that follows them is fed. One that stays
// behind when they return, or falls below them, is shut in. Fields are exported for snapshots only.
type supposed struct {
	Since station.Instant // of the shutdown that the answer is about
	Until station.Instant // the header's answer: the inlet follows, as far as is known until then; 0: none
	Left  bool            // it had answered so and does no longer: the others have left it behind
}

// step follows the shutdown that the inlet shows; another one needs an answer of its own.
func (p *supposed) step(s *station.Status) {
	since := station.Instant(0)
	if s.ShutdownBy == ByInlet {
		since = s.ShutdownAt
	}
	if since != p.Since {
		p.Since, p.Until, p.Left = since, 0, false
	}
}

// rebase follows a step of the station's clock: the bound of waiting goes on.
func (p *supposed) rebase(by int64) { shift(by, &p.Until) }

// followsHeader reports whether pressure-left is held back at a step: the shift is not over, the inlet is read and
// charged, and the header's answer still counts.
func (v *Evaluator) followsHeader(s *station.Status) bool {
	p := &v.Supposed
	if p.Until == 0 || v.shut.by != ByInlet || !(s.Inlet.Known() && s.Inlet.Value > ChargedMin) {
		return false
	}
	if _, over := v.roster.over(v.plate.Calendar, s.At); over {
		return false
	}
	return s.At < min(p.Until, p.Since.Add(overMost))
}

// LevelState is what a station shows of the level of its header.
type LevelState struct {
	At      station.Instant // newest step
	Since   station.Instant // its inlet alone shows that the supply is closed since then, 0: it does not
	Until   station.Instant // the header's answer
	Inlet   float64         // Pa gauge, NaN: not known
	Usual   float64         // highest inlet of ten minutes while fed, before a fall: before that; Pa gauge
	Working bool            // its line makes it read below the header, by Sag of Usual
	Sag     float64
}

// LevelState returns what the station shows of the level of its header, false where it shows nothing.
func (v *Evaluator) LevelState() (o LevelState, ok bool) {
	s := v.last()
	if v.Silent || v.Gone || !v.HaveStep || !s.Inlet.Known() || s.State == station.Blind || s.ShutdownBy == station.ByValve {
		return o, false
	}
	o = LevelState{At: s.At, Since: v.Supposed.Since, Until: v.Supposed.Until, Inlet: s.Inlet.Value, Usual: v.Feed.Rest, Working: s.State.Working(), Sag: v.sag()}
	if v.Feed.Fell == 0 {
		o.Usual = v.now[qInletTop]
	}
	return o, o.Usual > 0
}

// fall returns by how much the inlet reads below its usual level, Pa, and by how much that may differ
// from the header's fall: the line takes its part while the piston works.
func (o *LevelState) fall() (fall, slack float64) {
	if o.Working {
		slack = o.Sag * o.Usual
	}
	return o.Usual - o.Inlet, slack
}

// followBand is by how much the falls of two sensors on one header may differ, Pa: 2 % of the usual
// inlet and 10 kPa at least, for sensors of 1 % of 1 MPa, noise, and readings that are a second apart
// (own choice, no source).
func followBand(usual float64) float64 { return math.Max(10e3, 0.02*usual) }
