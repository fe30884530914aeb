package rules

import "strokewise/analyzer/station"

// askClose is said of an alarm whose station is no longer configured.
const askClose = ": close the alarm with its cause"

// removed returns what happened to the station, or to the header.
func (v *Evaluator) removed() Trigger {
	if v.standIn && !v.Gone {
		return StationUnwatched
	}
	if _, ok := v.plate.Key.Header(); ok {
		return HeaderRemoved
	}
	return StationRemoved
}

// wordsGone are what is said of an alarm of such a station that is raised again when its
// shelving ends.
const wordsGone = "The alarm was open when the station was removed from the configuration. Nothing watches it now."

// Retire follows the station's removal from the configuration. No sample comes any more that
// could end an alarm, so that those that stand do so until somebody closes each with its cause.
// What the design or a person had taken out of everybody's sight ends: nobody was to act on it,
// and no alarm that guards people can be in these states. Work that is declared there is told of.
func (v *Evaluator) Retire(at station.Instant) {
	if v.Gone {
		return
	}
	v.Gone, v.Silent = true, true
	for i := range v.Alarms {
		switch a := &v.Alarms[i]; {
		case len(v.Work.People) > 0 && v.set[i].Name == PressureAtWork:
			a.Present, a.True, a.Until, a.Once = true, at, 0, false
			v.raise(i, max(at, a.LastTime+1), verdict{message: v.workGone(), trigger: v.removed()})
			a.LastTime = a.Raised
		case v.Past.Vents.said() && v.set[i].Name == PressureReturned && !a.State.Active():
			a.Present, a.True, a.Until, a.Once = false, 0, 0, false
			v.stamp(i, Normal, at, verdict{message: "The word of " + spokenNames(v.Past.Vents.Words) + " that the line is vented still stands, but nothing watches the line now.", trigger: v.removed()})
		case a.State == SuppressedByDesign, a.State == OutOfService:
			a.Present, a.True = false, 0
			v.stamp(i, Normal, at, verdict{message: "The station is no longer in the configuration.", trigger: v.removed()})
		case a.State.Active():
			v.stamp(i, a.State, at, verdict{trigger: v.removed(), why: v.removed().Words() + askClose})
		}
	}
}

// Return follows the station's return to the configuration: its alarms go on as they stand.
func (v *Evaluator) Return() { v.Gone = false }

// stamp moves alarm i at a time behind all that came before it. Without a message the words of
// the transition before stay.
func (v *Evaluator) stamp(i int, to AlarmState, at station.Instant, c verdict) {
	a, def := &v.Alarms[i], &v.set[i]
	at = max(at, a.LastTime+1)
	from := a.State
	a.State, a.LastTime, a.Told = to, at, at
	v.emit(&Transition{
		Key: v.plate.Key, Branch: v.plate.Branch, Alarm: def.Name, Priority: v.priority(i),
		From: from, To: to, At: at, Raised: a.Raised,
		Message: c.message, Caution: def.Caution, By: c.by, Why: c.why, Cause: c.cause, Trigger: c.trigger,
	})
}

// workGone words that people are at work on a station that is removed.
func (v *Evaluator) workGone() string {
	return "The station was removed from the configuration. Nothing watches it now: pressure that returns would not be seen. Warn them, and watch the local gauges. " + v.whoWorks() + " " + noLockOut
}

// tickGone carries on what goes by time alone: the end of shelvings, of declared work, and reminders.
func (v *Evaluator) tickGone(now station.Instant) {
	if len(v.Work.People) > 0 {
		v.Work.wake(now)
		v.workOver(now, verdict{})
	}
	for i := range v.Alarms {
		if a := &v.Alarms[i]; a.State == Shelved && now >= a.Until {
			v.release(i, max(now, a.LastTime), verdict{message: v.wordsBlind(), trigger: ShelfTimeOver})
		}
	}
	for i := range v.Alarms {
		if a := &v.Alarms[i]; v.reminded(i, now) {
			v.stamp(i, a.State, now, verdict{trigger: StillPresent, why: v.removed().Words() + ", and the alarm is still open, " + spanOf(now.Sub(a.Raised)) + " after it was raised" + v.whatToDo()})
		}
	}
}

// closeGone ends an alarm on a person's word with its cause.
func (v *Evaluator) closeGone(i int, c *station.Command, at station.Instant) error {
	a := &v.Alarms[i]
	if a.State == Normal {
		return refuse(c, "it is normal: there is nothing to close")
	}
	if name := v.set[i].Name; len(v.Work.People) > 0 && (name == PressureAtWork || name == WorkTimeOver) {
		return refuse(c, "people are declared at work here (%s): end their work first (work-ended)", namesAtWork(v.Work.People))
	}
	said := word(c)
	said.message = "Closed by " + said.by + ": " + v.removed().Words() + "."
	a.Present, a.True, a.Until, a.Once = false, 0, 0, false
	v.stamp(i, Normal, at, said)
	return nil
}
