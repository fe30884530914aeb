package rules

import "slices"

// Adopt sets the alarms' states to what is known of them elsewhere: those of the open ones
// as given, all others normal. An alarm that agrees already stays as it is. It is for an
// evaluator that is restored older than what was stored of it, or that has seen less, and will
// not see the time between again. It reports no transition, but of open alarms that the set
// does not have: these end.
func (v *Evaluator) Adopt(open []Transition) {
	v.policy()
	for i := range v.Alarms {
		k := slices.IndexFunc(open, func(t Transition) bool { return t.Alarm == v.set[i].Name })
		if k < 0 {
			v.Alarms[i].close()
			continue
		}
		v.Alarms[i].adopt(&open[k])
		v.Alarms[i].Grave = open[k].Priority > v.set[i].Priority
	}
	for k := range open {
		if v.index(open[k].Alarm) < 0 {
			v.gone(open[k].Alarm, &alarm{State: open[k].To, Raised: open[k].Raised, LastTime: open[k].At}, open[k].Priority)
		}
	}
}

// close makes the alarm normal.
func (a *alarm) close() {
	if a.State != Normal {
		a.State, a.Present, a.Until, a.Once = Normal, false, 0, false
	}
}

// adopt sets the alarm to the newest transition of an open alarm. One that is kept back counts as
// present where its condition was when that began: if it has ended, the next step says so.
func (a *alarm) adopt(t *Transition) {
	if a.State == t.To && a.Raised == t.Raised && a.LastTime >= t.At {
		return
	}
	a.State, a.Raised, a.Told = t.To, t.Raised, max(t.At, t.Raised)
	a.LastTime = max(a.LastTime, t.At)
	a.Until, a.Once = t.shelf()
	switch {
	case t.To < Shelved:
		a.Present = t.To.Active()
	case t.To == SuppressedByDesign, t.From.Active():
		a.Present = true
	}
	if a.Present && a.True == 0 {
		a.True = t.Raised
	}
	if a.Raises[0] < t.Raised {
		copy(a.Raises[1:], a.Raises[:])
		a.Raises[0] = t.Raised
	}
	a.AtRaise = raisedAt(t)
	if t.First != "" {
		a.First = t.First
	}
}

// gone ends an alarm that the configuration no longer has, or it would stand for ever on the
// pages.
func (v *Evaluator) gone(name string, a *alarm, p Priority) {
	v.emit(&Transition{Key: v.plate.Key, Branch: v.plate.Branch, Alarm: name, Priority: p, From: a.State, To: Normal,
		At: a.LastTime + 1, Raised: a.Raised, Message: "This alarm is no longer in the configuration.", Trigger: AlarmRemoved})
}
