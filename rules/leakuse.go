package rules

import (
	"math"

	"strokewise/analyzer/station"
)

// What makes a draw that looks like a leak the use of a consumer that draws evenly (own choices, no source).
const (
	// sameUse is how much larger than a draw that ended by itself another may be, and longer, and still be
	// the same use. A leak that is larger or stays is raised.
	sameUse  = 1.25
	longUse  = 1.5
	longest  = 8 * 60 * station.Minute60 // a shift: what lasted longer was no use
	mostStep = 5 * station.Second        // a longer step is a gap
	useFades = 14 * 24 * 60 * station.Minute60
)

// leakUse keeps the largest draw that looked like a leak and ended by itself while the station was fed. A hole
// never closes, a consumer does: a draw as large that has not lasted longer is that consumer again. Both look
// the same in the readings while they last. Fields are exported for snapshots only.
type leakUse struct {
	On   bool            // the present draw is over the limit
	Last station.Instant // newest step
	Fed  int64           // for how long it has lasted while the station was fed, ns
	Flow float64         // largest flow of it, m³/s ANR
	Most float64         // largest flow of draws that ended, m³/s ANR
	For  int64           // how long the longest of them lasted, ns
	At   station.Instant // when the last of them ended
}

// step follows the leak's flow, m³/s ANR, NaN while unknown: then the draw goes on.
func (u *leakUse) step(s *station.Status, flow, limit float64) {
	if s.At.Sub(u.At) > useFades {
		u.Most, u.For = 0, 0
	}
	if d := s.At.Sub(u.Last); u.On && s.State.Fed() && d > 0 {
		u.Fed += min(d, mostStep)
	}
	u.Last = s.At
	switch {
	case flow > limit && !u.On:
		u.On, u.Fed, u.Flow = true, 0, flow
	case !u.On || math.IsNaN(flow):
	case flow > limit:
		u.Flow = math.Max(u.Flow, flow)
	case flow < 0.8*limit:
		u.end(s)
	}
}

// rebase follows a step of the station's clock.
func (u *leakUse) rebase(by int64) { shift(by, &u.Last, &u.At) }

// end ends the draw, and keeps it as use where it came by itself, within a shift.
func (u *leakUse) end(s *station.Status) {
	if s.State.Fed() && u.Fed <= longest {
		u.Most, u.For, u.At = math.Max(u.Most, u.Flow), max(u.For, u.Fed), s.At
	}
	u.On, u.Fed, u.Flow = false, 0, 0
}

// covers reports whether the present draw may be use that was seen to end.
func (u *leakUse) covers() bool {
	return u.On && u.Flow <= sameUse*u.Most && float64(u.Fed) <= longUse*float64(u.For)
}
