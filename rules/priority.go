package rules

import "strokewise/analyzer/station"

// Severity is the worst that is to be expected when nobody responds to an alarm.
type Severity uint8

// The severities, least first.
const (
	Cost   Severity = iota // money, air or wear
	Stop                   // the branch's work suffers or stops
	Damage                 // a machine or its protection breaks
	Injury                 // somebody may be hurt
	numSeverities
)

var severityNames = []string{"cost", "stop", "damage", "injury"}

// String returns the name that the catalogue uses.
func (s Severity) String() string { return severityNames[s%numSeverities] }

// responses are the classes of the time within which somebody has to respond, shortest first.
var responses = [...]int64{10 * station.Minute60, 60 * station.Minute60, 8 * 60 * station.Minute60}

// byMethod is the priority for a severity and a class of responses; the last class is the working day.
// Alarm rationalization after IEC 62682: severity of the consequence and time to respond give the
// priority. The standard leaves the table to the site; this one is our own: high means that somebody
// may be hurt or that a machine is about to break.
var byMethod = [numSeverities][len(responses) + 1]Priority{
	Cost:   {Low, Low, Low, Finding},
	Stop:   {Medium, Medium, Low, Finding},
	Damage: {High, Medium, Medium, Finding},
	Injury: {High, High, High, Medium},
}

// PriorityOf returns the priority of a consequence that has to be averted within a time, ns.
func PriorityOf(s Severity, within int64) Priority {
	for class, most := range responses {
		if within <= most {
			return byMethod[s%numSeverities][class]
		}
	}
	return byMethod[s%numSeverities][len(responses)]
}

// GuardsAtOnce reports whether an alarm of the catalogue guards people who may be hurt within the
// shortest class of responses, or concerns declared work. Maintenance holds none of these back.
func GuardsAtOnce(name string) bool {
	i := index(name)
	return i >= 0 && catalogue[i].FailSafe && (catalogue[i].Severity == Injury && catalogue[i].RespondNs <= responses[0] || name == WorkTimeOver)
}
