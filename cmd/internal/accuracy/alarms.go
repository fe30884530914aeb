package accuracy

import (
	"slices"

	"strokewise/rules"
)

// serious are the alarms of high or medium priority in the catalogue, and a leak: it was one of them
// in earlier tables, and is to be compared with these.
var serious = func() map[string]bool {
	out := map[string]bool{}
	for _, d := range rules.Catalogue() {
		out[d.Name] = d.Priority >= rules.Medium || d.Name == rules.OutletLeak
	}
	return out
}()

// compareAlarms counts the alarms that are due and were raised in time, the serious ones that
// are not due, and the traps that were sprung.
func compareAlarms(s *Scores, t *told, truth *Truth) {
	if due := &s[DueAlarms]; len(truth.Due) > 0 {
		*due = Score{Applies: true, N: len(truth.Due)}
		for _, d := range truth.Due {
			if slices.ContainsFunc(t.raised, func(r raised) bool { return r.alarm == d.Alarm && d.From <= r.at && r.at <= d.By }) {
				due.Good++
			}
		}
		due.Bad = due.N - due.Good
	}
	s[FalseAlarms] = free(t, func(r raised) bool { return serious[r.alarm] && !isDue(truth, r) })
	if len(truth.Traps) > 0 {
		s[Traps] = free(t, func(r raised) bool { return slices.Contains(truth.Traps, r.alarm) })
	}
}

// isDue reports whether an alarm's fault had set in when it was raised, or the alarm is true as well.
func isDue(truth *Truth, r raised) bool {
	return slices.Contains(truth.May, r.alarm) || slices.ContainsFunc(truth.Due, func(d Due) bool { return d.Alarm == r.alarm && r.at >= d.From })
}

// free returns the score of a station that is to be free of some alarms.
func free(t *told, bad func(raised) bool) Score {
	s := Score{Applies: true, N: 1, Good: 1}
	for _, r := range t.raised {
		if bad(r) {
			s.Good, s.Bad = 0, s.Bad+1
		}
	}
	return s
}
