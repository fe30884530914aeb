package rules

import "strokewise/analyzer/station"

// Trigger is what brought a transition about where neither a condition nor a person did.
type Trigger uint8

// The triggers. Those from PlateChanged on are changes of the configuration.
const (
	NoTrigger        Trigger = iota // a condition, or a person
	ShelfTimeOver                   // the time of a shelving is over
	ShelfCondition                  // a shelving was to last until the condition ended, and it did
	StillPresent                    // a reminder of an alarm that stands
	MoreDue                         // likewise, because more has come due
	ShelfNews                       // something came that was not known when the alarm was shelved
	StationUnwatched                // a fault of the program keeps the station from being watched
	PlateChanged                    // by the new plate data or policy the condition does not hold
	AlarmRemoved                    // the configuration has no such alarm any more
	StationRemoved                  // the station is no longer configured
	HeaderRemoved                   // no stations are left to watch a header by
	numTriggers
)

// triggers hold the name of each in the history, and its words for people.
var triggers = [numTriggers]struct{ name, words string }{
	ShelfTimeOver:    {"shelving over", "the time of the shelving is over"},
	ShelfCondition:   {"condition over", "it was shelved until the condition ended, and it has ended"},
	StillPresent:     {"still present", "still present"},
	MoreDue:          {"more due", "more has come due"},
	ShelfNews:        {"shelving outdated", "something came that was not known when the alarm was shelved"},
	StationUnwatched: {"station unwatched", "a fault of strokewise keeps the station from being watched"},
	PlateChanged:     {"plate changed", "the configuration changed"},
	AlarmRemoved:     {"alarm removed", "no longer in the configuration"},
	StationRemoved:   {"station removed", "the station is no longer in the configuration"},
	HeaderRemoved:    {"header removed", "the configuration leaves too few stations to watch this header by"},
}

// String returns the trigger's name in the history, "" for NoTrigger.
func (t Trigger) String() string { return triggers[t%numTriggers].name }

// Words returns the trigger as people read it.
func (t Trigger) Words() string { return triggers[t%numTriggers].words }

// ParseTrigger returns the trigger of a name, NoTrigger for any other.
func ParseTrigger(name string) Trigger {
	for t := range triggers {
		if triggers[t].name == name {
			return Trigger(t)
		}
	}
	return NoTrigger
}

// Reason returns why the transition was made, in words: a person's cause and reason, what is
// said with a trigger, or the trigger itself.
func (t *Transition) Reason() string {
	if t.Why == "" && t.Cause == station.NoCause {
		return t.Trigger.Words()
	}
	return t.Cause.With(t.Why)
}

// ByConfiguration reports whether a change of the configuration brought the transition about,
// and neither a reading nor a person.
func (t *Transition) ByConfiguration() bool { return t.Trigger >= PlateChanged }

// shelfEvidence returns for people until when an alarm is shelved.
func shelfEvidence(a *alarm) []Evidence {
	e := []Evidence{{Name: "shelved_until", Text: a.Until.String()}}
	if a.Once {
		e = append(e, Evidence{Name: "shelved_for", Text: "until the condition ends"})
	}
	return e
}

// shelf returns until when the transition shelves its alarm, and whether for once; zero where
// it does not.
func (t *Transition) shelf() (until station.Instant, once bool) {
	if t.To != Shelved {
		return 0, false
	}
	return t.ShelvedUntil, t.ShelvedOnce
}
