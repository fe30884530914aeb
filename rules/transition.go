// Package rules decides what needs a person: it maps a station's state and estimates,
// in event time, to alarm states and their transitions. It reads no clock and does no
// I/O; sending is in rules/notify.
package rules

import (
	"fmt"

	"strokewise/analyzer/station"
)

// Priority of an alarm. Findings are for the working day.
type Priority uint8

// The priorities, lowest first.
const (
	Finding Priority = iota
	Low
	Medium
	High
)

var priorityNames = []string{"finding", "low", "medium", "high"}

// String returns the name used in outputs and metric labels.
func (p Priority) String() string { return priorityNames[p%4] }

// AlarmState is a state of the alarm life cycle (IEC 62682 / ISA-18.2).
type AlarmState uint8

// The alarm states.
const (
	Normal AlarmState = iota
	Unacknowledged
	Acknowledged
	ReturnedUnacknowledged
	Shelved
	SuppressedByDesign
	OutOfService
)

var alarmStateNames = [...]string{"normal", "unacknowledged", "acknowledged",
	"returned-to-normal unacknowledged", "shelved", "suppressed by design", "out of service"}

// String gives the standard's name of the state.
func (s AlarmState) String() string { return alarmStateNames[s%7] }

// Active tells whether the condition is present in this state.
func (s AlarmState) Active() bool { return s == Unacknowledged || s == Acknowledged }

// Transition is a change of an alarm's state. Its ID is the same in a live, a
// replayed and a restored run.
type Transition struct {
	Key      station.Key     `json:"-"`
	Branch   string          `json:"branch,omitempty"`
	Alarm    string          `json:"alarm"`
	Priority Priority        `json:"-"`
	From     AlarmState      `json:"-"`
	To       AlarmState      `json:"-"`
	At       station.Instant `json:"-"` // event time; for signal-lost, arrival time
	Raised   station.Instant `json:"-"` // when this occurrence was raised
	Message  string          `json:"message"`
	Caution  string          `json:"caution,omitempty"`
	Evidence []Evidence      `json:"evidence"`
	By       string          `json:"by,omitempty"`  // the person whose command it was
	Why      string          `json:"why,omitempty"` // the person's reason, or for people why it is told again; see Reason

	Cause        station.Cause   `json:"cause,omitempty"` // of a closing
	ShelvedUntil station.Instant `json:"-"`               // of a shelving
	ShelvedOnce  bool            `json:"-"`               // it ends with the condition
	Trigger      Trigger         `json:"-"`               // what brought it about by itself
	First        string          `json:"-"`               // of a raise: the alarm that it follows within 30 s

	Explained string `json:"explained_by,omitempty"` // alarm of the header that people are told of instead
}

// Quiet tells whether nobody is to be told: the design has kept the alarm back, or it has
// ended so. The history keeps it all the same.
func (t *Transition) Quiet() bool {
	return t.To == SuppressedByDesign || t.From == SuppressedByDesign && t.To == Normal
}

// ID identifies the transition: site, station, alarm, raise time, and the state gone to.
// An occurrence can be shelved, suppressed or noted more than once, so that these carry
// their own time too.
func (t *Transition) ID() string {
	if t.From >= Shelved || t.To >= Shelved || t.From == t.To {
		return fmt.Sprintf("%s/%s/%s/%d/%d/%d", t.Key.Site, t.Key.Station, t.Alarm, int64(t.Raised), t.To, int64(t.At))
	}
	return fmt.Sprintf("%s/%s/%s/%d/%d", t.Key.Site, t.Key.Station, t.Alarm, int64(t.Raised), t.To)
}
