package rules

import "strokewise/analyzer/station"

// ShelfEnd is what ended a shelving by itself.
type ShelfEnd uint8

// The ends.
const (
	NoShelfEnd     ShelfEnd = iota // it goes on, or a person ended it
	ShelfTimeOver                  // its time is over
	ShelfCondition                 // it was to last until the condition ended
)

var shelfEnds = [...]struct{ name, words string }{
	ShelfTimeOver:  {"time over", "the time of the shelving is over"},
	ShelfCondition: {"condition ended", "shelved until the condition ended, which it did"},
}

// String returns the end's name in the history, "" for none.
func (e ShelfEnd) String() string {
	if int(e) < len(shelfEnds) {
		return shelfEnds[e].name
	}
	return ""
}

// Words returns the end as people read it.
func (e ShelfEnd) Words() string {
	if int(e) < len(shelfEnds) {
		return shelfEnds[e].words
	}
	return ""
}

// ParseShelfEnd returns the end of a name, NoShelfEnd for any other.
func ParseShelfEnd(name string) ShelfEnd {
	for e := range shelfEnds {
		if shelfEnds[e].name == name {
			return ShelfEnd(e)
		}
	}
	return NoShelfEnd
}

// shelfEvidence returns for people until when an alarm is shelved.
func shelfEvidence(a *alarm) []Evidence {
	e := []Evidence{{Name: "shelved_until", Text: a.Until.String()}}
	if a.Once {
		e = append(e, Evidence{Name: "shelved_for", Text: "once: until the condition ends"})
	}
	return e
}

// Reason returns why the transition was made, in words: a person's cause and reason, or what
// ended a shelving.
func (t *Transition) Reason() string {
	if t.ShelfEnd != NoShelfEnd {
		return t.ShelfEnd.Words()
	}
	return t.Cause.With(t.Why)
}

// shelf returns until when the transition shelves its alarm, and whether for once; zero where
// it does not.
func (t *Transition) shelf() (until station.Instant, once bool) {
	if t.To != Shelved {
		return 0, false
	}
	return t.ShelvedUntil, t.ShelvedOnce
}
