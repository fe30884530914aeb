package rules

import "strokewise/analyzer/station"

// alarm is the life of one alarm of one station. Fields are exported for snapshots only.
type alarm struct {
	State    AlarmState
	Raised   station.Instant // this occurrence
	True     station.Instant // condition present since, 0: it is not
	LastTime station.Instant
}

// memory is the whole state of an Evaluator. Fields are exported for snapshots only.
type memory struct {
	Alarms   [len(catalogue)]alarm
	Last     station.Status // the newest step
	HaveStep bool
	Fall     fall
	Watched  station.Instant // arrival time since which silence counts
}

// Evaluator decides the alarms of one station. It is not safe for concurrent use.
type Evaluator struct {
	memory
	plate *station.Plate
	emit  func(*Transition)
}

// NewEvaluator gives an evaluator for the station of plate (kept by reference: changes
// of the plate take effect) that reports transitions to emit.
func NewEvaluator(plate *station.Plate, emit func(*Transition)) *Evaluator {
	return &Evaluator{plate: plate, emit: emit}
}

// Step takes how the station stands at one instant of event time.
func (v *Evaluator) Step(s *station.Status) {
	v.Last, v.HaveStep = *s, true
	v.Fall.step(s)
	for i := range catalogue {
		def := &catalogue[i]
		var c verdict
		switch def.Name {
		case SupplyUndersized:
			c = v.supplyUndersized(s)
		case OutletLeak:
			c = v.outletLeak(s)
		case PressureLeft:
			c = v.pressureLeft(s)
		default:
			continue // driven by ticks
		}
		v.advance(i, s.At, c)
	}
}

// Arrivals are the arrival times of a station's newest samples by channel, 0: never.
type Arrivals [station.NumChannels]station.Instant

// Tick takes the passing of arrival time, which alone tells of silence.
func (v *Evaluator) Tick(now station.Instant, a *Arrivals) {
	if v.Watched == 0 {
		v.Watched = now
	}
	v.Watched = min(v.Watched, now) // our clock may be set back
	v.advance(index(SignalLost), now, v.signalLost(now, a))
	if c := v.silentShutdown(now, a); c.answer == yes {
		v.advance(index(PressureLeft), now, c)
	}
}

// Watch says that we listen since now: what was not heard before, while we were away, is
// no silence of the sensors.
func (v *Evaluator) Watch(now station.Instant) { v.Watched = max(v.Watched, now) }

// Acknowledge takes a person's acknowledgement and tells whether it changed anything.
func (v *Evaluator) Acknowledge(name string, at station.Instant) bool {
	i := index(name)
	if i < 0 {
		return false
	}
	a := &v.Alarms[i]
	switch a.State {
	case Unacknowledged:
		v.move(i, Acknowledged, at, verdict{})
	case ReturnedUnacknowledged:
		v.move(i, Normal, at, verdict{})
	default:
		return false
	}
	return true
}

// Adopt sets the alarms' states to what is known of them elsewhere: those of the open ones
// as given, all others normal. It reports no transition. It is for an evaluator that is
// restored older than what was stored of it, and will not see the time between again.
func (v *Evaluator) Adopt(open []Transition) {
	for i := range v.Alarms {
		a, to, raised := &v.Alarms[i], Normal, v.Alarms[i].Raised
		for k := range open {
			if open[k].Alarm == catalogue[i].Name {
				to, raised = open[k].To, open[k].Raised
			}
		}
		if to.Active() && a.True == 0 {
			a.True = raised
		}
		a.State, a.Raised = to, raised
	}
}

// answer is what a condition says.
type answer uint8

const (
	unknown answer = iota // freeze: neither raise nor clear
	yes
	no
	between // above the limit to clear, below the one to raise: keep as it is
)

// verdict is a condition's answer with its evidence.
type verdict struct {
	answer   answer
	message  string
	evidence []Evidence
}

// advance moves alarm i by one verdict at time t.
func (v *Evaluator) advance(i int, t station.Instant, c verdict) {
	a, def := &v.Alarms[i], &catalogue[i]
	if t < a.LastTime {
		t = a.LastTime // ticks and event time may differ by the lateness
	}
	a.LastTime = t
	switch c.answer {
	case yes:
		if a.True == 0 {
			a.True = t
		}
		if !a.State.Active() && t.Sub(a.True) >= def.DelayNs {
			a.Raised = t
			v.move(i, Unacknowledged, t, c)
		}
	case no:
		a.True = 0
		switch a.State {
		case Unacknowledged:
			v.move(i, ReturnedUnacknowledged, t, c)
		case Acknowledged:
			v.move(i, Normal, t, c)
		}
	case between:
		if !a.State.Active() {
			a.True = 0
		}
	}
}

// move changes the state of alarm i and reports it.
func (v *Evaluator) move(i int, to AlarmState, t station.Instant, c verdict) {
	a, def := &v.Alarms[i], &catalogue[i]
	from := a.State
	a.State = to
	v.emit(&Transition{
		Key: v.plate.Key, Branch: v.plate.Branch, Alarm: def.Name, Priority: def.Priority,
		From: from, To: to, At: t, Raised: a.Raised,
		Message: c.message, Caution: def.Caution, Evidence: c.evidence,
	})
}

func index(name string) int {
	for i := range catalogue {
		if catalogue[i].Name == name {
			return i
		}
	}
	return -1
}
