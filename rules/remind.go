package rules

import "strokewise/analyzer/station"

// remind tells again of what still stands, as a transition that leaves the state as it is:
// often while nobody has acknowledged it, seldom after. It is driven by event time, and by
// ticks while the station is silent.
func (v *Evaluator) remind(t station.Instant) {
	for i := range v.set {
		if v.set[i].Name != WorkTimeOver { // lives in arrival time, see workOver
			v.remindOf(i, t)
		}
	}
}

// remindOf reminds of one alarm where that is due.
func (v *Evaluator) remindOf(i int, t station.Instant) {
	if v.reminded(i, t) {
		v.again(i, t, StillPresent, "still present, "+spanOf(t.Sub(v.Alarms[i].Raised))+" after it was raised")
	}
}

// reminded reports whether a reminder of alarm i is due. Where people were told by our clock, and steps
// by that of a sensor lie behind it, the time counts from this step on.
func (v *Evaluator) reminded(i int, t station.Instant) bool {
	every, a := int64(0), &v.Alarms[i]
	switch a.State {
	case Unacknowledged:
		every = v.set[i].RemindNs
	case Acknowledged:
		every = v.set[i].RemindAckNs
	}
	if a.Told == 0 || t < a.Told {
		a.Told = t
	}
	return every != 0 && t.Sub(a.Told) >= every
}

// again tells of an alarm that stands.
func (v *Evaluator) again(i int, t station.Instant, by Trigger, why string) {
	a := &v.Alarms[i]
	t = max(t, a.LastTime+1)
	a.LastTime, a.Told = t, t
	v.move(i, a.State, t, verdict{trigger: by, why: why, say: v.wordsOf(i)})
}

// wordsOf gives how an alarm that code decides is worded, nil for others.
func (v *Evaluator) wordsOf(i int) wording {
	switch v.set[i].Name {
	case PressureLeft:
		return (*Evaluator).left
	case InletPressureLeft:
		return (*Evaluator).trapped
	case PressureAtWork:
		return (*Evaluator).atWork
	case WorkTimeOver:
		return (*Evaluator).overdue
	case ServiceDue:
		return (*Evaluator).servicesDue
	}
	return nil
}

// Reminder tells whether a transition says that an alarm still stands.
func (t *Transition) Reminder() bool { return t.From == t.To && t.To.Active() && t.By == "" }
