package rules

import (
	"strokewise/analyzer/station"
)

const (
	firstOut    = 30 * station.Second  // within it an earlier alarm is named as the first
	chatterSpan = 600 * station.Second // more than five raises in it are chattering
	chatterMore = 60 * station.Second  // by which chattering lengthens the delay
)

// advance moves alarm i by one verdict at time t: first whether the condition is present,
// then what becomes of the state.
func (v *Evaluator) advance(i int, t station.Instant, c verdict) {
	a := &v.Alarms[i]
	held := t // how long it holds is of one clock: a person's word and a tick are of ours, and a sensor's may be hours behind
	if t < a.LastTime {
		t = a.LastTime
	}
	a.LastTime = t
	switch c.answer {
	case yes:
		if a.True == 0 || held < a.True {
			a.True = held
		}
		a.Present = a.Present || held.Sub(a.True) >= v.delay(i, t)
	case no:
		a.True, a.Present = 0, false
	case between:
		if !a.Present {
			a.True = 0
		}
	}
	v.settle(i, t, c)
}

// settle makes the state follow from what is present, and from what people and the design
// keep back.
func (v *Evaluator) settle(i int, t station.Instant, c verdict) {
	a := &v.Alarms[i]
	if c.answer == yes && a.Present && a.State.Active() && v.graver(i) {
		v.raise(i, max(t, a.Raised+1), c)
		return
	}
	switch a.State {
	case Normal, ReturnedUnacknowledged:
		switch {
		case !a.Present:
		case v.suppressed(i):
			v.move(i, SuppressedByDesign, t, c)
		default:
			v.raise(i, t, c)
		}
	case Unacknowledged:
		if !a.Present {
			v.move(i, ReturnedUnacknowledged, t, c)
		}
	case Acknowledged:
		if !a.Present {
			v.move(i, Normal, t, c)
		}
	case Shelved:
		if t >= a.Until {
			c.trigger = ShelfTimeOver
			v.release(i, t, c)
		} else if a.Present && c.news {
			c.trigger = ShelfNews
			v.release(i, t, c)
		} else if a.Once && c.answer == no {
			c.trigger = ShelfCondition
			v.release(i, t, c)
		}
	case SuppressedByDesign:
		if !a.Present || c.answer != unknown && !v.suppressed(i) { // unknown freezes: nothing can be said of it now
			v.release(i, t, c)
		}
	}
}

// release lets go of an alarm that was kept back: what is still present is raised anew.
func (v *Evaluator) release(i int, t station.Instant, c verdict) {
	a := &v.Alarms[i]
	a.Until, a.Once = 0, false
	switch {
	case !a.Present:
		v.move(i, Normal, t, c)
	case v.suppressed(i):
		v.move(i, SuppressedByDesign, t, c)
	default:
		v.raise(i, t, c)
	}
}

// raise begins an occurrence.
func (v *Evaluator) raise(i int, t station.Instant, c verdict) {
	a := &v.Alarms[i]
	a.Raised, a.First, a.Told, a.Grave = t, v.first(i, t), t, v.becomesGrave(i)
	a.AtRaise = v.atRaise(i)
	copy(a.Raises[1:], a.Raises[:])
	a.Raises[0] = t
	v.move(i, Unacknowledged, t, c)
}

// becomesGrave reports whether an alarm that is raised now has the priority of a charged station.
func (v *Evaluator) becomesGrave(i int) bool {
	return v.set[i].PriorityCharged > v.set[i].Priority && v.lastCharged()
}

// graver reports whether an alarm that was raised at a vented station stands at one that has been
// charged since: who acknowledged it acknowledged less.
func (v *Evaluator) graver(i int) bool { return !v.Alarms[i].Grave && v.becomesGrave(i) }

// first gives the alarm that began what this one follows within 30 s.
func (v *Evaluator) first(i int, t station.Instant) string {
	at, name := t, ""
	for j := range v.Alarms {
		o := &v.Alarms[j]
		if j == i || !o.State.Active() || o.Raised >= at || t.Sub(o.Raised) > firstOut {
			continue
		}
		at, name = o.Raised, v.set[j].Name
		if o.First != "" {
			name = o.First
		}
	}
	return name
}

// chattering tells whether the alarm was raised more than five times in ten minutes, and
// not left alone for ten minutes since.
func (a *alarm) chattering(t station.Instant) bool {
	last := a.Raises[len(a.Raises)-1]
	return last != 0 && a.Raises[0].Sub(last) <= chatterSpan && t.Sub(a.Raises[0]) <= chatterSpan
}

// delay gives how long the condition must hold, ns.
func (v *Evaluator) delay(i int, t station.Instant) int64 {
	def := &v.set[i]
	if !def.FailSafe && v.Alarms[i].chattering(t) {
		return def.DelayNs + chatterMore
	}
	return def.DelayNs
}

// suppressed tells whether the design keeps the alarm back: in some states for a time, and
// while another alarm's condition explains it.
func (v *Evaluator) suppressed(i int) bool {
	def, s := &v.set[i], v.last()
	if def.suppressed[s.State] && s.Since != 0 && s.At.Sub(v.Stay.From[s.State]) <= def.SuppressNs {
		return true
	}
	if def.suppressed[station.Charging] && v.filling(s, def.SuppressNs) {
		return true
	}
	for _, j := range def.explained {
		if v.Alarms[j].Present || v.Alarms[j].True != 0 {
			return true
		}
	}
	return false
}

// filling reports whether the first fill of a time goes on, ns at most, though the state is no longer
// charging: the outlet has not been at set since the station was shut down, and a slow rise looks like
// work.
func (v *Evaluator) filling(s *station.Status, most int64) bool {
	from := v.Stay.From[station.Charging]
	return from != 0 && s.State.Fed() && !v.Reached.Set && s.At.Sub(from) <= most
}

// move changes the state of alarm i and reports it.
func (v *Evaluator) move(i int, to AlarmState, t station.Instant, c verdict) {
	a, def := &v.Alarms[i], &v.set[i]
	from := a.State
	a.State = to
	switch {
	case c.message != "":
	case c.say != nil:
		c.message, c.evidence = c.say(v)
	case def.raise != nil:
		c.message, c.evidence = v.say(def, !a.Present && (a.Raised != 0 || from != Normal))
	}
	if from != Normal && from < SuppressedByDesign && t != a.Raised {
		if r, ok := v.progress(i); ok {
			c.evidence = append(c.evidence, r.evidence()...)
		}
	}
	if to == Unacknowledged && a.First != "" {
		c.evidence = append(c.evidence, Evidence{Name: "first", Text: a.First})
	}
	if to == Unacknowledged && a.chattering(t) {
		c.evidence = append(c.evidence, Evidence{Name: "chattering", Text: "raised more than five times in ten minutes"})
	}
	show(c.evidence, v.plate.Reading)
	tr := &Transition{
		Key: v.plate.Key, Branch: v.plate.Branch, Alarm: def.Name, Priority: v.priority(i),
		From: from, To: to, At: t, Raised: a.Raised,
		Message: c.message, Caution: def.Caution, Evidence: c.evidence, By: c.by, Why: c.why, Cause: c.cause, Trigger: c.trigger,
	}
	if to == Unacknowledged {
		tr.First = a.First
	}
	if to == Shelved {
		tr.Evidence = append(tr.Evidence, shelfEvidence(a)...)
		tr.ShelvedUntil, tr.ShelvedOnce = a.Until, a.Once
	}
	v.emit(tr)
}

// priority returns that of an alarm as it was raised.
func (v *Evaluator) priority(i int) Priority {
	if v.Alarms[i].Grave {
		return max(v.set[i].Priority, v.set[i].PriorityCharged)
	}
	return v.set[i].Priority
}

// lastCharged reports whether the outlet was charged when it was last believed: what was not
// seen to fall, and what nobody said is vented, is charged still.
func (v *Evaluator) lastCharged() bool {
	if last := float64(v.last().OutletLastSeen); last > ChargedMin {
		return true
	}
	return v.Fall.Top > ChargedMin && !v.Fall.believed(fallSeconds) && !v.Past.Vents.said()
}
