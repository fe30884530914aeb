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

// LearnedLike sets l to how many strokes the hours of like days have.
func (v *Evaluator) LearnedLike(l *station.LearnedLike) {
	d := &v.Like
	*l = station.LearnedLike{Of: d.Of, Counted: d.Counted, Step: d.Step, Since: d.Since}
	for works := range d.Hours {
		for hour := range d.Hours[works] {
			if h := &d.Hours[works][hour]; h.N > 0 {
				slot := station.LearnedSlot{Slot: int64(24*works + hour)}
				h.each(func(rate int32) { slot.Rates = append(slot.Rates, int64(rate)) })
				l.Slots = append(l.Slots, slot)
			}
		}
	}
}

// RecallLike replaces the hours of like days by those of a record. One without days changes nothing.
func (v *Evaluator) RecallLike(l *station.LearnedLike) {
	if len(l.Slots) == 0 {
		return
	}
	d := &v.Like
	*d = likeDays{Of: l.Of, Counted: l.Counted, Step: l.Step, Since: l.Since, Settled: true, Open: d.Open, Newest: d.Newest}
	for i := range l.Slots {
		slot := &l.Slots[i]
		if slot.Slot < 0 || slot.Slot >= 2*24 {
			continue // of a later version
		}
		h := &d.Hours[slot.Slot/24][slot.Slot%24]
		for _, rate := range slot.Rates {
			h.learn(int32(rate))
		}
	}
}
