package rules

import "strokewise/analyzer/station"

// Learned sets l to what the alarms have learned over days: the draws that looked like a leak and ended by
// themselves, and whether the outlet was ever at set.
func (v *Evaluator) Learned(l *station.LearnedUse) {
	u := &v.LeakUse
	*l = station.LearnedUse{Most: u.Most, For: u.For, At: u.At, Reached: v.Reached.Ever}
}

// RecallLearned puts in force what is newer than what the alarms have seen themselves.
func (v *Evaluator) RecallLearned(l *station.LearnedUse) {
	if u := &v.LeakUse; l.At > u.At {
		u.Most, u.For, u.At = l.Most, l.For, l.At
	}
	v.Reached.Ever = v.Reached.Ever || l.Reached
}
