package notify

import (
	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Known returns the definition of an alarm as it is in force at a station or header: shipped, changed by
// the site, or the site's own. A nil one knows the shipped alarms.
type Known func(k station.Key, alarm string) (rules.Definition, bool)

// of returns the definition of a transition's alarm.
func (k Known) of(t *rules.Transition) (rules.Definition, bool) {
	if k == nil {
		return rules.DefinitionOf(t.Key, t.Alarm)
	}
	return k(t.Key, t.Alarm)
}
