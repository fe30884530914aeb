package rules

import "strokewise/analyzer/station"

// reachedShare is the share of set at which an outlet has reached it. Own choice.
const reachedShare = 0.95

// Of a governor that lets the outlet fall far before it opens again.
const (
	// widestBand is the share of set by which it may: common practice, no source. A third more, and outlet-low
	// speaks before the governor does.
	widestBand = 0.15
	// forcesLeft is the share of the reachable outlet that friction takes at most, as the engine has it: a piston
	// that stands lower than that below it is held by its governor, or stuck, which is an alarm of its own.
	forcesLeft = 0.1
)

// nearSet reports whether a standing piston may be one whose governor has not opened yet: near set, or within the
// widest band of a governor while the forces would still lift the outlet. Pressures are Pa gauge, NaN: unknown.
func nearSet(outlet, set, reachable float64) bool {
	return outlet >= reachedShare*set || outlet >= (1-widestBand)*set && outlet < (1-forcesLeft)*reachable
}

// reached keeps whether the outlet has been at set since the supply was opened, which a first fill has not, and
// whether it ever was: sensors that are exchanged from the start never show it. Fields are exported for
// snapshots only.
type reached struct{ Set, Ever bool }

// step follows one second, with the set pressure in Pa gauge, NaN while unknown.
func (r *reached) step(s *station.Status, set float64) {
	switch {
	case s.ShutdownAt != 0:
		r.Set = false
	case s.State.Fed() && s.Outlet.Known() && s.Outlet.Value >= reachedShare*set:
		r.Set, r.Ever = true, true
	}
}
