package pipeline

import (
	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/rules"
)

// StandIn returns a unit in the place of one that cannot go on: it judges nothing, and keeps the
// alarms as rules.StandIn does.
func StandIn(plate station.Plate, revision string) *Unit {
	u := &Unit{revision: revision, standIn: true}
	u.engine = engine.New(plate, u)
	u.Status = u.engine.Status()
	u.rules = rules.StandIn(u.engine.CurrentPlate(), u.transition)
	u.rules.Feeds = u.feed
	return u
}

// IsStandIn reports whether the unit judges nothing.
func (u *Unit) IsStandIn() bool { return u.standIn }

// Unwatch raises the alarm that nothing watches the station, see rules.Evaluator.
func (u *Unit) Unwatch(at station.Instant, why string) { u.rules.Unwatch(at, why) }

// WatchAgain ends that alarm, see rules.Evaluator.
func (u *Unit) WatchAgain(at station.Instant) { u.rules.WatchAgain(at) }

// standsIn follows plate data without the engine, which may be what they broke.
func (u *Unit) standsIn(e *station.Epoch) {
	u.rules.Return()
	u.revision = e.Revision
	*u.engine.CurrentPlate() = e.Plate
}
