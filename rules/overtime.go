package rules

import (
	"math"

	"strokewise/analyzer/station"
)

// OverTime is the finding of a site whose stations are still at work after the calendar's end.
// Its name is also the kind of the record by which the site answers a station.
const OverTime = "over-time"

// Bounds on how long pressure-left waits at a station that is at work after the shift (own
// choices, no source).
const (
	overWait   = 120 * station.Second       // for the site's answer: without one the alarm is raised
	overUnseen = 2 * 60 * station.Minute60  // while nobody has acknowledged the site's finding
	overMost   = 12 * 60 * station.Minute60 // once somebody has: as long as pressure-left may be shelved
)

// overtime follows work after the calendar's end. Fields are exported for snapshots only.
type overtime struct {
	End   station.Instant // of the shift that the rest is about
	Since station.Instant // at work when the grace time was over, and ever since; 0: it is not
	Until station.Instant // the site's answer: the alarm waits until then; 0: none
	Shut  bool            // its supply was closed since the shift
	Held  station.Instant // the work that the site's finding was about has paused or ended: the crew has the calendar's grace time until then
	Was   station.Instant // Since of that work, which goes on where the piston works again before Held
}

// leastWork is the share of the time for which the piston works at a station that is at work: what
// makes up for small leaks at an idle one takes less (own choice, no source).
const leastWork = 0.1

// timesLeak is by how much what leaves the outlet must exceed what the leak may take for somebody to use air: both carry
// the error of the tank volume and of a stroke's air (own choice).
const timesLeak = 2

// uses reports whether more left the outlet in the grace time than leaks and what is meant explain: somebody draws. A
// large tank is filled in a small share of the time, so that the piston's work alone does not show it. Where nothing is
// known of the leak nothing is concluded.
func (v *Evaluator) uses(s *station.Status) bool {
	e, leak := &s.Estimates, nan
	switch {
	case e[station.LeakFlow].Known():
		leak = math.Max(e[station.LeakFlow].Value, e[station.LeakFlow].High)
	case e[station.LeakAtMost].Known():
		leak = e[station.LeakAtMost].Value
	}
	limit := LeakLimit
	if v.plate.LeakLimit > 0 {
		limit = v.plate.LeakLimit
	}
	flow, known := v.Past.drawn(v.grace())
	return known && flow-v.plate.BaseDemand > math.Max(limit, timesLeak*leak)
}

// step follows one second. A station is at work while it is fed and its piston worked for leastWork
// of the fed time of its grace time, worked of fed, in s, or somebody used air in that time. Less than ten seconds
// of it show nothing. Work that begins later in the night is not held back: the line
// was left charged. Where work that waited ends, the calendar's grace time, ns, counts from then.
func (o *overtime) step(s *station.Status, shut shutdown, worked, fed int, uses bool, grace int64) {
	switch {
	case shut.at == 0:
		o.Shut = false
	case shut.by != ByCalendar:
		o.Shut = true
	case o.End != shut.at:
		o.End, o.Since, o.Until, o.Held, o.Was = shut.at, s.At, 0, 0, 0
	}
	if o.Shut || shut.by != ByCalendar || !s.State.Fed() {
		o.Since, o.Until, o.Held, o.Was = 0, 0, 0, 0
		return
	}
	switch idle := fed >= 10 && float64(worked) < leastWork*float64(fed) && !uses; {
	case idle && o.Since != 0 && s.At < o.Until:
		o.Held, o.Was = s.At.Add(grace), o.Since
		o.Since, o.Until = 0, 0
	case idle:
		o.Since, o.Until = 0, 0
	case o.Since == 0 && s.At < o.Held:
		o.Since = o.Was // its bounds go on
	}
}

// rebase follows a step of the station's clock: the bounds of waiting go on.
func (o *overtime) rebase(by int64) { shift(by, &o.Since, &o.Until, &o.Held, &o.Was) }

// waits reports whether pressure-left is held back at t.
func (o *overtime) waits(t station.Instant) bool {
	return t < o.Held || o.Since != 0 && t < max(o.Since.Add(overWait), min(o.Until, o.Since.Add(overMost)))
}

// OverState is how a station stands to the end of its shift.
type OverState struct {
	At    station.Instant // newest step
	End   station.Instant // of the last shift, where the grace time is over; 0: it is not
	Since station.Instant // at work since then, 0: it is not
	Until station.Instant // the site's answer
	Clock string          // End as the site's clock shows it, of one at work
}

// OverState returns how the station stands to the end of its shift.
func (v *Evaluator) OverState() OverState {
	o := OverState{At: v.LastAt}
	if v.Silent || v.Gone || !v.HaveStep {
		return o
	}
	if end, ok := v.roster.over(v.plate.Calendar, v.LastAt); ok {
		o.End = end
	}
	if v.Over.Since != 0 && o.End == v.Over.End {
		o.Since, o.Until, o.Clock = v.Over.Since, v.Over.Until, v.roster.clock(o.End)
	}
	return o
}

// Answer handles the answer of a site or header: pressure-left waits until then, and no longer than
// its bounds allow. It takes back no alarm that was raised.
func (v *Evaluator) Answer(kind string, until station.Instant) {
	switch {
	case kind == OverTime && v.Over.Since != 0:
		v.Over.Until = until
	case kind == HeaderHolds && v.Supposed.Since != 0:
		v.Supposed.Left = until == 0 && (v.Supposed.Left || v.Supposed.Until != 0)
		v.Supposed.Until = until
	}
}
