package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	riseLeast  = 500.0              // Pa by which an outlet must rise to be said to (own choice)
	riseWithin = 5 * station.Second // within which an outlet that is filled rises again (own choice: a slow stroke)
	fillShare  = 0.6                // share of set below which a rising outlet is being filled (common practice, no source)
)

// rise follows the outlet from its lowest while it comes up to set. Fields are exported for
// snapshots only.
type rise struct {
	Low   float64         // lowest outlet, Pa gauge, since it was last at set
	LowAt station.Instant // when it was left, 0: not seen yet
	Top   float64         // highest since then
	At    station.Instant // when it last rose to that
	Up    bool            // it has risen from there
}

// slot takes the mean of the slot [start, end). least is what counts as a rise, Pa.
func (r *rise) slot(p2, least float64, start, end station.Instant) {
	switch {
	case r.LowAt == 0 || p2 < r.Low:
		*r = rise{Low: p2, LowAt: start, Top: p2}
	case !r.Up && p2 <= r.Low+least:
		r.LowAt = start // it stays there
	case p2 > r.Top+least:
		r.Top, r.At, r.Up = p2, end, true
	}
}

// rises tells whether the outlet still comes up.
func (r *rise) rises(end station.Instant) bool { return r.Up && end.Sub(r.At) <= riseWithin }

// fills reports whether the outlet comes up in the slot as only delivered air makes it: from
// low, while the inlet is not seen to rest (a tank that was drawn down warms, and its
// pressure rises by some per cent). Strokes need not be seen one by one, unless air also passes
// straight through the check valves: that fills the tank behind a piston that stands.
func (e *Engine) fills(start, end station.Instant) bool {
	s, r := &e.State, &e.State.Rise
	if e.Outlet.N == 0 || e.Doubt.Who != 0 {
		*r = rise{}
		return false
	}
	p2, set := e.Outlet.Mean, e.set()
	if set > 0 && p2 >= setBand*set {
		*r = rise{}
		return false
	}
	r.slot(p2, max(riseLeast, 4*e.Ends.Out.NoiseRaw/math.Sqrt(float64(e.Outlet.N))), start, end)
	return s.ShutdownAt == 0 && r.rises(end) && (e.Supply.Rest == 0 || e.drawing()) && e.Inlet.Mean > vented &&
		(!e.passing() || s.Charging || p2 < fillShare*set || e.strokesOn(end))
}

// charge follows the rise of the outlet from low to set. It ends at set, or when the
// outlet has not risen for ten seconds, and begins again with another rise only.
func (e *Engine) charge(p2, set float64, end station.Instant) {
	s := &e.State
	switch {
	case set <= 0:
	case !s.Charging:
		s.Charging = p2 < fillShare*set && s.Rise.Up && end.Sub(s.Rise.At) <= MaxLag
	case p2 >= setBand*set || s.Rise.Up && end.Sub(s.Rise.At) > MaxLag:
		s.Charging = false
	}
}
