package rules

import "strokewise/analyzer/station"

// alarm is the life of one alarm of one station. Fields are exported for snapshots only.
type alarm struct {
	State    AlarmState
	Present  bool            // the condition held for the delay, and has not been seen to end
	Raised   station.Instant // this occurrence
	True     station.Instant // condition present since, 0: it is not
	LastTime station.Instant
	Until    station.Instant // end of shelving
	Once     bool            // shelving ends when the condition does
	Told     station.Instant // when people were told of it last, beside Raised
	Grave    bool            // raised while the outlet was last believed charged, see Definition.PriorityCharged
	First    string          // the alarm that came before this one, within 30 s
	Raises   [6]station.Instant
	AtRaise  float64 // the pressure that it is about, when it was raised, Pa gauge; NaN: not known
}

// memory is the whole state of an Evaluator. Fields are exported for snapshots only.
type memory struct {
	Names     []string // of Alarms
	Alarms    []alarm
	Last      *station.Status // the newest step
	HaveStep  bool
	LastAt    station.Instant
	Segment   uint32
	Fall      fall
	InletFall fall
	Past      past
	High      high
	Reached   reached
	LeakUse   leakUse
	Like      likeDays
	Stay      stay
	Watched   station.Instant // arrival time since which silence counts
	Silent    bool            // a tick said that no samples come
	Service   serviceMemory
	Feed      feed
	Work      workMemory
	Over      overtime
	Supposed  supposed
	Ebb       ebb
	Gone      bool // the station is no longer configured, see Retire

	OutletTrend, InletTrend trend
}

// Evaluator decides the alarms of one station. It is not safe for concurrent use.
type Evaluator struct {
	memory
	plate  *station.Plate
	emit   func(*Transition)
	now    values
	shut   shutdown // at the newest step, or tick of a silent station
	roster roster
	dates  dates
	asked  int64        // minute for which kinds is
	kinds  serviceSet   // that are due, see serviceDue
	set    []Definition // the catalogue with what the plate changes of it
	text   string       // of the plate, that set was made of
	late   int64        // samples that came behind the newest step, see Late
	prices airPrices

	standIn bool // no samples come, see StandIn

	Feeds func(*Feed) // told of changes that concern the header, nil: nobody
}

// unseen is the status before the first step.
var unseen station.Status

// last gives the newest step.
func (v *Evaluator) last() *station.Status {
	if v.Last == nil {
		return &unseen
	}
	return v.Last
}

// NewEvaluator gives an evaluator for the station of plate (kept by reference: changes
// of the plate take effect) that reports transitions to emit.
func NewEvaluator(plate *station.Plate, emit func(*Transition)) *Evaluator {
	v := &Evaluator{plate: plate, emit: emit, set: catalogue}
	v.arrange()
	v.policy()
	return v
}

// Step takes how the station stands at one instant of event time. What s points to may change
// only with the next step.
func (v *Evaluator) Step(s *station.Status) {
	v.policy()
	if v.HaveStep && s.Segment != v.Segment {
		v.rebase(s.At)
	}
	v.Last, v.HaveStep, v.LastAt, v.Segment, v.Silent = s, true, s.At, s.Segment, false
	v.Fall.step(&s.Outlet)
	v.InletFall.step(&s.Inlet)
	v.shut = v.told(s, s.At)
	v.count(s)
	v.contradiction(s)
	v.Past.step(s, v.seenVented(s))
	worked, fed := v.Past.worked(v.grace())
	v.Over.step(s, v.shut, worked, fed, v.shut.by == ByCalendar && v.uses(s), v.roster.grace())
	v.Supposed.step(s)
	v.Ebb.step(s, float64(v.plate.AmbientPressure()), v.now[qInletTop], rise(&s.Estimates[station.OutletNoise]))
	v.OutletTrend.step(s.At, &s.Outlet)
	v.InletTrend.step(s.At, &s.Inlet)
	v.fill(s)
	v.feed(s)
	for i := range v.set {
		if c, ok := v.judge(i, s); ok {
			v.advance(i, s.At, c)
		}
	}
	v.remind(s.At)
}

// judge returns the verdict on alarm i, false for those that ticks drive.
func (v *Evaluator) judge(i int, s *station.Status) (c verdict, ok bool) {
	switch def := &v.set[i]; {
	case def.raise != nil:
		c.answer = v.ask(def, s)
	case def.Name == PressureLeft:
		c = v.pressureLeft(s)
	case def.Name == InletPressureLeft:
		c = v.inletLeft(s)
	case def.Name == PressureAtWork:
		c = v.pressureAtWork(i, s)
	case def.Name == ServiceDue:
		c = v.serviceDue(s.At)
	default:
		return c, false
	}
	return c, true
}

// rebase follows a step of the station's clock, at which a new segment begins: how long
// conditions have held stays, counted from the new time. Without it, a clock set back by an
// hour would keep new alarms from being raised for that long.
func (v *Evaluator) rebase(at station.Instant) {
	by := at.Sub(v.LastAt)
	v.Work.rebase(by)
	v.Over.rebase(by)
	v.Supposed.rebase(by)
	v.LeakUse.rebase(by)
	v.Like.rebase()
	for i := range v.Alarms {
		a := &v.Alarms[i]
		if v.set[i].Name == SignalLost || v.set[i].Name == WorkTimeOver {
			continue // live in arrival time
		}
		shift(by, &a.True, &a.Told)
		a.LastTime = min(a.LastTime, at)
	}
}

// shift moves times by ns; 0 stands for none, and stays.
func shift(by int64, times ...*station.Instant) {
	for _, t := range times {
		if *t != 0 {
			*t = t.Add(by)
		}
	}
}

// ask gives the answer of a condition: true raises, false of the condition and truth of
// the clearing one clear, unknown freezes.
func (v *Evaluator) ask(def *Definition, s *station.Status) answer {
	if def.frozen[s.State] {
		return unknown
	}
	a := def.raise.ask(&v.now)
	if a != no || def.clear == nil {
		return a
	}
	if def.clear.ask(&v.now) == yes {
		return no
	}
	return between
}

// Arrivals are the arrival times of a station's newest samples by channel, 0: never.
type Arrivals [station.NumChannels]station.Instant

// Tick takes the passing of arrival time, which alone tells of silence.
func (v *Evaluator) Tick(now station.Instant, a *Arrivals) {
	if v.Gone || v.standIn {
		v.tickGone(now)
		return
	}
	v.policy()
	if v.Watched == 0 {
		v.Watched = now
	}
	v.Watched = min(v.Watched, now) // our clock may be set back
	v.advance(index(SignalLost), now, v.signalLost(now, a))
	if v.Silent = v.HaveStep && now.Sub(a.newest()) > v.silence(); v.Silent || !v.HaveStep {
		v.tickSilent(now)
	}
	v.tickWork(now, now.Sub(max(a.newest(), v.Watched)) > v.silence())
	for i := range v.Alarms {
		if h := &v.Alarms[i]; h.State == Shelved && now >= h.Until {
			v.advance(i, now, verdict{}) // a silent station takes no steps
		}
	}
}

// tickSilent carries on what depends on time alone at a station that takes no steps.
func (v *Evaluator) tickSilent(now station.Instant) {
	v.shut = v.told(v.last(), now)
	if c := v.silentShutdown(now); c.answer == yes {
		v.advance(v.index(PressureLeft), now, c)
	}
	v.advance(v.index(ServiceDue), now, v.serviceDue(now))
	if i := v.index(InspectionDue); v.HaveStep {
		v.fillDates(now)
		v.advance(i, now, verdict{answer: v.ask(&v.set[i], v.last())})
	}
	v.remind(now)
}

// Late sets how many samples came behind the newest step so far. It is asked for before each tick.
func (v *Evaluator) Late(n int64) { v.late = n }

// Watch says that we listen since now: what was not heard before, while we were away, is
// no silence of the sensors.
func (v *Evaluator) Watch(now station.Instant) { v.Watched = max(v.Watched, now) }

// answer is what a condition says.
type answer uint8

const (
	unknown answer = iota // freeze: neither raise nor clear
	yes
	no
	between // above the limit to clear, below the one to raise: keep as it is
)

// verdict is a condition's answer with its evidence. Where say is set, it words the
// verdict when a transition comes of it.
type verdict struct {
	answer   answer
	message  string
	evidence []Evidence
	say      wording
	by, why  string
	cause    station.Cause
	trigger  Trigger
	news     bool // what nobody knew who shelved the alarm: it ends the shelving
}
