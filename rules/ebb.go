package rules

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// ebbOver, s, is the time over which an inlet must fall, and ebbFlat over which it must stand. Own choices.
	ebbOver, ebbFlat = 5, 10
	// leastEbb is the fall that counts, share of the absolute inlet a second: 0.5 % in ebbOver, over the noise
	// of seconds' means and the drift of a compressor's idle header. Own choice; a third more or less decides of headers that
	// take twelve or twenty minutes for their fall.
	leastEbb = 0.001
	// stoppedShare is the share of the steepest fall that is left where a fall has stopped. A closed line that leaks
	// falls by about the same share of its pressure each second down to 1 bar: C p_1 out of V p_1.
	stoppedShare = 0.25
	// leastTravel, s, is how long a stroke may take that never ends, as the last one on a closed line; one and a half of the usual
	// intervals where these are longer, the slowest stroke at most. Own choice.
	leastTravel = 3
	mostTravel  = float64(station.SlowestStroke / station.Second)
	// standsEbb is the fall of the outlet, share of its absolute pressure a second, below which it stands: 1 kPa in ebbOver at 1 MPa. While it
	// stands, no governor starts a piston; where it falls, the piston may creep on the air of a closed line for longer than a stroke
	// takes, and stop. Own choice.
	standsEbb = 0.0002
	// furtherEbb is by what share an inlet that has stopped may still read lower: a sensor's drift. Own choice.
	furtherEbb = 0.02
)

// ebb follows an inlet that falls though the piston stands, and whether that fall stops.
//
// A closed line has two ways to fall: strokes take a share of its air each, be they finished or not, and a leak takes a share
// of it each second,
//
//	dp/dt = -p/tau, tau = V/(C p_0 T/T_0)  (choked, isothermal)
//
// so that a fall without strokes goes on towards nothing at its rate, and never stops by itself. A header that a compressor
// fails to hold falls too, as long as it does, and then stands. So an inlet that fell without a stroke and then stands well above
// nothing is at a header; or somebody has bled a closed line and shut the bleed again. Fields are exported for snapshots only.
type ebb struct {
	Strokes int64                // at the newest step
	Travel  float64              // s that the stroke under way may take
	Outlet  float64              // least outlet since the last stroke, Pa gauge
	Still   int                  // s without a stroke, nor a rise of the outlet that an unseen one would make
	Ring    [ebbFlat + 1]float64 // ln of the absolute inlet, newest last
	Out     [ebbFlat + 1]float64 // the same of the outlet
	N       int                  // of it that are taken
	Steep   float64              // steepest fall without a stroke, share a second, 0: none
	Long    int                  // s for which one was seen
	Falls   int                  // s for which it may still be under way
	Held    float64              // inlet at which it stopped, Pa gauge, 0: it did not
	Lower   int                  // s for which the standing inlet has read less since
	Usual   float64              // inlet before, Pa gauge
}

// step follows one second. top is the highest inlet of ten minutes while fed, rise what an unseen stroke may lift
// the outlet by unnoticed, Pa.
func (e *ebb) step(s *station.Status, ambient, top, rise float64) {
	if !s.Inlet.Known() || s.State == station.Blind {
		*e = ebb{Strokes: s.Strokes, Usual: e.Usual}
		return
	}
	p := s.Inlet.Value
	if s.State.Fed() && e.Held == 0 && e.Falls == 0 && top > 0 {
		e.Usual = top
	}
	e.strokes(s, rise)
	copy(e.Ring[:], e.Ring[1:])
	copy(e.Out[:], e.Out[1:])
	e.Ring[ebbFlat], e.Out[ebbFlat], e.N = math.Log(math.Max(p+ambient, 1)), math.Inf(-1), min(e.N+1, len(e.Ring))
	if s.Outlet.Known() {
		e.Out[ebbFlat] = math.Log(math.Max(s.Outlet.Value+ambient, 1))
	}
	e.judge(p)
}

// strokes begins anew at a stroke. The level at which an earlier fall stopped stays: a fed station returns to it.
func (e *ebb) strokes(s *station.Status, rise float64) {
	out := math.Inf(1)
	if s.Outlet.Known() {
		out = s.Outlet.Value
	}
	switch {
	case s.Strokes != e.Strokes, out > e.Outlet+rise:
		if s.StrokesMinute > 0 {
			e.Travel = math.Min(mostTravel, 1.5*60/float64(s.StrokesMinute))
		}
		e.Strokes, e.Still, e.Steep, e.Long, e.Falls, e.N, e.Outlet = s.Strokes, 0, 0, 0, 0, 0, out
	default:
		e.Still, e.Outlet = e.Still+1, math.Min(e.Outlet, out)
	}
}

// judge looks for a fall and for its end.
func (e *ebb) judge(p float64) {
	e.Falls = max(0, e.Falls-1)
	travel := math.Max(leastTravel, e.Travel)
	if e.Held > 0 && float64(e.Still) >= travel && p < (1-furtherEbb)*e.Held {
		e.Lower++
	} else if float64(e.Still) >= travel {
		e.Lower = 0
	}
	if e.Lower > 2*ebbFlat { // a further fall is seen by then, and what strokes took from a closed line stays away
		e.Held, e.Lower = 0, 0
	}
	if float64(e.Still) < travel+ebbOver || e.N <= ebbOver {
		return
	}
	stands := (e.Out[ebbFlat-ebbOver]-e.Out[ebbFlat])/ebbOver < standsEbb // NaN, where it is not seen, is no
	switch rate := (e.Ring[ebbFlat-ebbOver] - e.Ring[ebbFlat]) / ebbOver; {
	case rate >= leastEbb && stands:
		e.Steep, e.Long = math.Max(e.Steep, rate), e.Long+1
	case rate >= leastEbb:
		e.Steep, e.Long = 0, 0
	}
	switch {
	case float64(e.Long) < travel+ebbOver: // it may be a stroke that never ended
	case e.N > ebbFlat && e.Ring[0]-e.Ring[ebbFlat] <= stoppedShare*e.Steep*ebbFlat:
		e.Held, e.Steep, e.Long = p, 0, 0
	default:
		e.Falls = 2 * ebbFlat
	}
}

// unclear reports whether an inlet that is low may be at a low header: its fall without a stroke goes on or has stopped, and it
// reads more than half of the usual one. Below that a header feeds nobody.
func (e *ebb) unclear(inlet float64) bool {
	return (e.Held > 0 || e.Falls > 0) && inlet > ChargedMin && inlet >= leastLevel*e.Usual
}

// SupplyUnclear is the alarm on a supply of which it is not known whether it is closed or its header low.
const SupplyUnclear = "supply-unclear"

// supplyUnclear reports whether the inlet alone shows a shutdown that may be a low header: then pressure-left waits for
// better evidence, and SupplyUnclear speaks. What the header itself has answered counts more.
func (v *Evaluator) supplyUnclear(s *station.Status) bool {
	if v.shut.by != ByInlet || !s.Inlet.Known() || v.Supposed.Until != 0 || v.Supposed.Left {
		return false
	}
	if _, over := v.roster.over(v.plate.Calendar, s.At); over {
		return false
	}
	return v.Ebb.unclear(s.Inlet.Value)
}

// fillHeader sets what the inlet tells of the header while the station seems to be shut down: nothing, unless its fall
// without a stroke has stopped. Then the piston stands, and a fed inlet reads its header.
func (v *Evaluator) fillHeader(s *station.Status) {
	q, unclear := &v.now, v.Ebb.Held > 0 && v.supplyUnclear(s)
	if q[qUnclear], q[qUsualInlet] = truth(unclear), given(v.Ebb.Usual); s.State == station.Blind {
		q[qUnclear] = nan
	}
	switch static := figureQuantity[station.HeaderStatic]; {
	case s.State != station.Residual:
	case unclear:
		q[static] = s.Inlet.Value
	default:
		q[static] = nan
	}
}
