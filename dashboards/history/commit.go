// Package history is the database of what was concluded: minutes, states, alarms, the
// notification outbox, committed totals, log positions and engine snapshots. What one
// partition concludes from one stretch of log is stored in one transaction.
package history

import (
	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// StationMinutes are finished minutes and intervals of one station, and its figures of
// finished hours.
type StationMinutes struct {
	Key       station.Key
	Revision  uint32 // of the engine
	Minutes   []station.Minute
	Gaps      []station.Gap // whole minutes without a sample, which are not among Minutes
	Charges   []cost.Charge // of Minutes, one each; nil: none is known
	Intervals []station.Interval
	Figures   []station.HourFigure

	// Again is set by Commit: what of it was stored already, in ascending order.
	Again Again
}

// Again lists what was stored before, by its index in StationMinutes: no sum counts it a second time.
type Again struct{ Minutes, Gaps []int }

// charge returns what the i-th minute cost.
func (s *StationMinutes) charge(i int) cost.Charge {
	if i >= len(s.Charges) {
		return cost.Charge{}
	}
	return s.Charges[i]
}

// Commit is what one partition concluded up to a log position. Stored as a whole or
// not at all; a commit at or below the stored position is refused.
type Commit struct {
	Partition int
	Position  uint64
	// Part says that the entry at Position is not worked off yet: the stored position stays. After a crash the entry is worked
	// off again, and what of it is stored already is known by its key. A part holds stations only.
	Part        bool
	Stations    []StationMinutes
	Transitions []rules.Transition // also queued in the outbox
	Acts        []Act              // what people did, for the audit
	Notes       []Note
	Holding     Holding
	Told        *Told     // receivers that need not be told of the transitions; nil: everybody is told
	Learned     []Learned // each up to Position
	Late        LateNews
}
