package web

import (
	"slices"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// foldView is what is known of an alarm beforehand, folded out where it is read.
type foldView struct {
	Consequence string
	Causes      []string
	Runbook     string
}

// definitions keeps the alarms that sites have made of the catalogue, by the text in their plates.
type definitions struct {
	mu   sync.Mutex
	sets map[string][]rules.Definition
}

const mostSets = 64 // different texts that are kept

func (d *definitions) of(text string) []rules.Definition {
	d.mu.Lock()
	defer d.mu.Unlock()
	if set, ok := d.sets[text]; ok {
		return set
	}
	if d.sets == nil || len(d.sets) >= mostSets {
		d.sets = make(map[string][]rules.Definition)
	}
	set := rules.Definitions(text)
	d.sets[text] = set
	return set
}

// definition returns that of an alarm as it is in force at a station or header.
func (s *site) definition(k station.Key, alarm string) (rules.Definition, bool) {
	one, _ := s.Board.Get(k)
	if one.Plate.Alarms == "" {
		return rules.DefinitionOf(k, alarm)
	}
	set := s.sets.of(one.Plate.Alarms)
	i := slices.IndexFunc(set, func(d rules.Definition) bool { return d.Name == alarm })
	if i < 0 {
		return rules.Definition{}, false
	}
	return set[i], true
}

// unfold adds causes and runbooks to alarms, and what may be done with them only step by step.
func (s *site) unfold(list []alarmView, k station.Key) {
	for i := range list {
		a := &list[i]
		d, ok := s.definition(k, a.Name)
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
