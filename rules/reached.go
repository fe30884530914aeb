package rules

import "strokewise/analyzer/station"

// reachedShare is the share of set at which an outlet has reached it. Own choice: a governor's band is narrower.
const reachedShare = 0.95

// reached keeps whether the outlet has been at set since the supply was opened, which a first fill has not, and
// whether it ever was: sensors that are exchanged from the start never show it. Fields are exported for
// snapshots only.
type reached struct{ Set, Ever bool }

// step takes one second, with the set pressure in Pa gauge, NaN while unknown.
func (r *reached) step(s *station.Status, set float64) {
	switch {
	case s.ShutdownAt != 0:
		r.Set = false
	case s.State.Fed() && s.Outlet.Known() && s.Outlet.Value >= reachedShare*set:
		r.Set, r.Ever = true, true
	}
}
