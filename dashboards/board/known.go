package board

import (
	"slices"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// definitions keeps the alarms that sites have made of the catalogue, by the text in their plates.
type definitions struct {
	mu   sync.Mutex
	sets map[string][]rules.Definition
}

// mostSets bounds the different texts that are kept. Own choice.
const mostSets = 64

// of returns the alarms of a text.
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

// Definition returns that of an alarm as it is in force at a station or header. An alarm that the
// site has taken out since is known as it was shipped.
func (b *Board) Definition(k station.Key, alarm string) (rules.Definition, bool) {
	one, _ := b.Get(k)
	if one.Plate.Alarms == "" {
		return rules.DefinitionOf(k, alarm)
	}
	set := b.known.of(one.Plate.Alarms)
	i := slices.IndexFunc(set, func(d rules.Definition) bool { return d.Name == alarm })
	if i < 0 {
		return rules.DefinitionOf(k, alarm)
	}
	return set[i], true
}
