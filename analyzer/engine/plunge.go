package engine

import (
	"math"

	"strokewise/analyzer/station"
)

// plungeKnown is the fed time, s, that the station must have been watched for until a fall below the inlet is judged
// without the history of a usual draw. Own choice: what draws all the time has shown by then.
const plungeKnown = 300.0

// plunge follows the outlet from where it left set, for stations whose usual draw is not known yet. Below its inlet a
// branch gets less than the header alone would give it, so no use of a boosted branch is laid out to end there. The
// draw over the whole fall is compared with what the strokes delivered meanwhile, with the governor open:
//
//	over = (air of the strokes + air of the tank)/air of the strokes
//
// Just overloaded stations sink slowly, and the strokes deliver most of it. A highest draw that was seen so far counts
// as usual where it is more. Fields are exported for snapshots only.
type plunge struct {
	LeftAt station.Instant // when the outlet was last at set, 0: it was not since the supply was opened
	From   float64         // outlet then, Pa abs
	Air    float64         // m³ ANR that strokes delivered since
	Draw   float64         // of the fall to below the inlet, as a conductance, 0: it is none
	Usual  float64         // that it is compared with
}

// over returns the draw of a fall to below the inlet over the usual one, 0 where there is none.
func (x *plunge) over() float64 {
	if x.Draw == 0 {
		return 0
	}
	return x.Draw / x.Usual
}

// watchPlunge handles the slot that ended, whose outlet is p, Pa abs.
func (e *Engine) watchPlunge(p float64, end station.Instant) {
	f, set := &e.Falls, e.set()
	x := &f.Plunge
	switch {
	case set <= 0 || !f.Reached:
		*x = plunge{}
		return
	case e.Outlet.Mean >= setBand*set || x.LeftAt == 0:
		*x = plunge{LeftAt: end, From: p}
		return
	case e.Outlet.Mean >= e.needs(set):
		x.Draw = 0
	}
	x.Air += f.Air[drawSlots-1]
	if x.Draw == 0 && e.Outlet.Mean < e.Inlet.Mean && e.Outlet.Mean < e.needs(set) && f.Flows && f.Fed >= plungeKnown && e.State.Current.Working() {
		x.cross(e.drawnFromTank(x.From-p), (x.From+p)/2, float64(end.Sub(x.LeftAt))*1e-9, f.Top)
	}
}

// cross handles the moment at which the outlet falls below the inlet: tank is the air, m³ ANR, that the tank gave up
// over t seconds at a mean pressure p, Pa abs, and top the highest draw so far. Where no stroke delivered, a piston that
// stands explains the fall.
func (x *plunge) cross(tank, p, t, top float64) {
	if x.Air <= 0 || t <= 0 {
		return
	}
	x.Draw, x.Usual = (x.Air+tank)/(t*p), math.Max(top, x.Air/(t*p))
}
