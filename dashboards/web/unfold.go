package web

import "strokewise/analyzer/station"

// foldView is what is known of an alarm beforehand, folded out where it is read.
type foldView struct {
	Consequence string
	Causes      []string
	Runbook     string
}

// unfold adds causes and runbooks to alarms, and what may be done with them only step by step.
func (s *site) unfold(list []alarmView, k station.Key) {
	for i := range list {
		a := &list[i]
		d, ok := s.Board.Definition(k, a.Name)
		if !ok {
			continue
		}
		a.CheckFirst, a.Respond = d.CheckFirst, d.RespondIn
		a.Guards, a.shelveAtMost = d.FailSafe, d.ShelveAtMost
		if len(d.Causes) > 0 || d.Runbook != "" {
			a.Fold = &foldView{d.Consequence, d.Causes, d.Runbook}
		}
	}
}
