package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	// drawSlots is the window of the balance: 5 s. A torn hose is told within it, and a stroke more or less
	// is a twentieth of what a working booster delivers meanwhile. Own choice.
	drawSlots = 10
	// drawKnown is the fed time, s, after which the station's usual draw is known. Own choice.
	drawKnown = 1800.0
	// drawFades is the time, s, over which the highest draw is forgotten: two weeks, so that what comes once a
	// week stays known. Own choice.
	drawFades = 14 * 86400.0
	// drawPart is the length, slots, of a part of the history: 30 s. A draw becomes usual once the outlet has held for one
	// whole part after it. Own choice; shorter than it takes a torn hose to pull the outlet down would teach the hose.
	drawPart = 60
	// needShare is the share of set that the outlet must keep where the plate has no required_pressure. Own choice.
	needShare = 0.85
)

// falls follows what leaves the outlet, by the mass balance of the tank over some seconds:
//
//	draw = (air of the strokes + V_t (p_begin - p_end)/p_0 T_0/T)/t
//
// as a conductance, draw/p, since what flows out of a hole is choked. The highest that the station's own use has
// shown is learned while the outlet keeps what the branch needs; what pulls it lower is use once
// the outlet has recovered without a shutdown, since a torn hose does not heal. Without the tank volume or the
// air of a stroke the fall of ln p alone is compared with the steepest one. Fields are exported for
// snapshots only.
type falls struct {
	Air     [drawSlots]float64     // m³ ANR that strokes delivered, by slot
	Out     [drawSlots + 1]float64 // outlet at the ends of the slots and before, Pa abs
	At      station.Instant        // end of the newest slot
	N       int                    // slots in a row
	Bare    bool                   // the fall alone is compared: what was learned is of that kind
	Top     float64                // highest usual draw: conductance, or 1/s where Bare
	Fed     float64                // s of fed time that it was learned in
	Part    [2]float64             // highest of the present and the last part of the history
	Slots   int                    // of the present part
	Reached bool                   // it has been at set since the station was last shut down or blind
	Draw    float64                // the newest, as Top
	Given   float64                // m³ ANR that strokes delivered in the window
	Flow    float64                // m³/s ANR
	Flows   bool                   // Flow is known
	Plunge  plunge
}

// delivered adds the air of a stroke, m³ ANR.
func (f *falls) delivered(v float64) { f.Air[drawSlots-1] += v }

// watchFalls handles the slot that ended.
func (e *Engine) watchFalls(end station.Instant) {
	f := &e.Falls
	fed := e.State.Current.Fed()
	if !fed || !e.Outlet.Seen || e.Doubt.Who != 0 || e.Plate.Sensor == station.AtBranch {
		f.stop(!fed)
		e.stateFalls(end)
		return
	}
	f.slot(float64(e.outletAbs()), end)
	set := e.set()
	f.Reached = f.Reached || set > 0 && e.Outlet.Mean >= setBand*set
	if f.N > drawSlots {
		e.balanceFalls()
		f.learn(e.Outlet.Mean < e.needs(set), f.Reached && !e.passing())
	}
	e.watchPlunge(f.Out[drawSlots], end)
	e.stateFalls(end)
	f.shift()
}

// needs returns what the branch needs of the outlet, Pa gauge, 0 where nothing is known.
func (e *Engine) needs(set float64) float64 {
	if e.Plate.Required > 0 {
		return float64(e.Plate.Required)
	}
	return needShare * set
}

// stop ends the window. over: the station is shut down or blind.
func (f *falls) stop(over bool) {
	f.Air, f.N, f.Draw, f.Flows = [drawSlots]float64{}, 0, 0, false
	if over {
		f.Part, f.Slots, f.Reached = [2]float64{}, 0, false
		f.Plunge = plunge{}
	}
}

// slot adds the outlet at the end of a slot, Pa abs.
func (f *falls) slot(p float64, end station.Instant) {
	copy(f.Out[:], f.Out[1:])
	f.Out[drawSlots] = p
	f.N = min(f.N+1, drawSlots+1)
	f.At = end
}

// shift makes room for the air of the next slot.
func (f *falls) shift() {
	copy(f.Air[:], f.Air[1:])
	f.Air[drawSlots-1] = 0
}

// balanceFalls computes the draw of the window.
func (e *Engine) balanceFalls() {
	f := &e.Falls
	const t = drawSlots * float64(slotLen) * 1e-9
	strokes := e.Fuse.CounterServes() || e.tracesTell() == ""
	_, reason := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	bare := e.Plate.TankVolume <= 0 || e.sharesTank() || reason != "" || !strokes
	if bare != f.Bare {
		f.Bare, f.Top, f.Fed, f.Part, f.Slots = bare, 0, 0, [2]float64{}, 0
	}
	from, to := f.Out[0], f.Out[drawSlots]
	if f.Flows = !bare; bare {
		f.Draw = math.Log(from/to) / t
		return
	}
	f.Given = f.strokesAir()
	f.Flow = (f.Given + e.drawnFromTank(from-to)) / t
	f.Draw = f.Flow / ((from + to) / 2)
}

// flowKnown reports whether the balance states the flow of the slot that ended at end, and all of it comes
// by strokes to an outlet that has been at set.
func (e *Engine) flowKnown(end station.Instant) bool {
	f := &e.Falls
	return f.N > drawSlots && f.Flows && f.Reached && !e.passing() && f.At == end
}

// strokesAir returns what the strokes of the window delivered, m³ ANR.
func (f *falls) strokesAir() float64 {
	sum := 0.0
	for _, v := range f.Air {
		sum += v
	}
	return sum
}

// drawnFromTank returns the air, m³ ANR, that the tank gives up in a fall by dp, Pa.
func (e *Engine) drawnFromTank(dp float64) float64 {
	return e.Plate.TankVolume * dp / float64(air.P0ANR) * e.airTemperature().Density()
}

// learn adds the newest draw to the history. usual: the outlet has been at set, and all air
// comes by strokes.
func (f *falls) learn(low, usual bool) {
	const dt = float64(slotLen) * 1e-9
	f.Top *= 1 - dt/drawFades
	if usual {
		f.Part[0] = max(f.Part[0], f.Draw)
	}
	if low {
		f.Slots = 0
		return
	}
	f.Fed += dt
	if f.Slots++; f.Slots >= drawPart {
		f.Top = max(f.Top, f.Part[1])
		f.Part[1], f.Part[0], f.Slots = f.Part[0], 0, 0
	}
}

// stateFalls states the draw, and how it compares with the usual one.
func (e *Engine) stateFalls(end station.Instant) {
	f := &e.Falls
	m := station.MethodTraces
	if e.Fuse.CounterServes() {
		m = station.MethodBoth
	}
	draw, over := &e.Est[station.OutletDraw], &e.Est[station.DrawOverUsual]
	*draw, *over = station.Unknown(drawNot), station.Unknown(drawNot)
	if f.N <= drawSlots {
		return
	}
	if *draw = station.Unknown(drawBare); f.Flows {
		*draw = station.Estimate{Value: max(0, f.Flow), Method: m, Confidence: 0.6, From: end.Add(-drawSlots * slotLen), At: end}
	}
	switch {
	case !f.Reached:
		*over = station.Unknown("the outlet has not been at set since the supply was opened")
	case (f.Fed < drawKnown || f.Top <= 0) && f.Plunge.Draw > 0:
		*over = station.Estimate{Value: f.Plunge.over(), Method: m, Confidence: 0.5, From: f.Plunge.LeftAt, At: end}
	case f.Fed < drawKnown || f.Top <= 0:
		*over = station.Unknown(drawNew)
	default:
		*over = station.Estimate{Value: max(0, f.Draw) / f.Top, Method: m, Confidence: 0.6, From: end.Add(-drawSlots * slotLen), At: end}
	}
}

const (
	drawNot  = "needs five seconds of a fed station with both readings believed"
	drawBare = "needs the tank volume, the air of a stroke and strokes that are seen"
	drawNew  = "watched for less than half an hour of work"
)
