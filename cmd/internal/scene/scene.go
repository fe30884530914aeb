// Package scene plays ordinary events of a plant through virtual stations and the alarms: what
// must be raised, with which priority, after how long and in which words, and what must not.
package scene

import (
	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Start is when every scene starts: a Monday, 10:00 UTC.
var Start = station.Instant(1767607200 * station.Second)

// Scene is an event with what must come of it.
type Scene struct {
	Name  string // of its own
	Event string // what happens, for the table
	From  int64  // s after Start at which it happens

	Guard bool // an ordinary event: nothing of Never may come of it, before a change and after it

	Course Course       // of one station; unused where Plant is set
	Plant  func(*Plant) // of a running program with several stations

	Due   []Due
	Never []string // alarms that must not be raised from From on
	Also  func(*Outcome) []string
}

// Due is an alarm that must be raised.
type Due struct {
	Alarm    string
	Priority rules.Priority
	Within   int64    // s after the event
	From     int64    // s after Start, where it is not due from the event on
	Says     []string // what its text as sent must hold, in small letters
	Stands   bool     // it must still be active at the scene's end
}

// Outcome is what came of a scene.
type Outcome struct {
	Transitions []rules.Transition // in order of time
	Intervals   []station.Interval // of a course
	Refused     []string           // of people's words, with the reason
	Wrong       []string           // what was seen to be wrong while the scene was played
	End         station.Instant
}

// raised reports whether a transition raises its alarm so that people get to know.
func raised(t *rules.Transition) bool {
	return t.To == rules.Unacknowledged && !t.From.Active() && t.Explained == ""
}

// active reports whether an alarm is active at the end.
func (o *Outcome) active(alarm string) bool {
	on := false
	for i := range o.Transitions {
		if t := &o.Transitions[i]; t.Alarm == alarm {
			on = t.To.Active()
		}
	}
	return on
}

// second returns the time s after Start.
func second(s int64) station.Instant { return Start.Add(s * station.Second) }
