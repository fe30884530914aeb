package rules

import "strokewise/analyzer/station"

// stayBridge is the interruption, ns, that a stay in a state outlasts: a few slots, in which a stroke more or less
// or a pulse of a consumer makes it look like another. Own choice.
const stayBridge = 5 * station.Second

// stay follows since when the station is in its state, through short interruptions by other states of a
// fed station. Fields are exported for snapshots only.
type stay struct {
	State station.State
	Since station.Instant                    // when the engine entered it
	From  [station.NumStates]station.Instant // when the stay in a state began, 0: never
	Left  [station.NumStates]station.Instant // when it was left
}

// step follows how the station stands, and returns since when it is in its state.
func (y *stay) step(s *station.Status) station.Instant {
	st := s.State
	if st == y.State && s.Since == y.Since {
		return y.From[st]
	}
	if !st.Fed() || s.Since < y.Since {
		*y = stay{} // nothing goes on through a shutdown, blindness or a clock set back
	} else if y.Since != 0 {
		y.Left[y.State] = s.Since
	}
	if left := y.Left[st]; left == 0 || s.Since.Sub(left) > stayBridge {
		y.From[st] = s.Since
	}
	y.State, y.Since = st, s.Since
	return y.From[st]
}
