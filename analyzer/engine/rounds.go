package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	mostRounds  = 80
	leastRounds = 5
	roundsSpan  = 180 // s over which rounds must be alike: several time constants of a cooling tank
	fewestSlots = 3   // of a standing time whose fall is looked at

	// Fewer rounds do where each stands long: its smooth fall is evidence of its own.
	fewRounds = 3
	fewSpan   = 150 // s
	longStand = 15  // s

	// warmFall is how far the fall may exceed what the rounds' flow explains, beyond what
	// the heat of compression explains.
	warmFall = 1.15
	// What the fall tells, less the heat of compression, has this band: the air may come in
	// cooled by cylinder and pipe.
	toldLow  = 0.9
	toldHigh = 1.35
	// toldStill takes its place while a loss inside the booster is told already.
	toldStill = 1.15
	// quickRecharge is the share of a round in which the piston stands, from which on the
	// recharge is quick to what the air takes to cool.
	quickRecharge = 0.85
	// The fall of a tank that cools and leaks is a parabola but for so much, in noise of a slot's
	// mean and share of the drop: pulses of a consumer make stairs in a stand of so many slots.
	bentLong  = 60
	bentNoise = 2.0
	bentFall  = 0.02
	// stepUp is the rise of the outlet from slot to slot, share of it, that only a delivery
	// makes: the creeping end of a stroke whose draw is not seen.
	stepUp    = 0.001
	roundStep = 6.0
	// windowStep is for a window of minutes, that no single value must end: few samples a second
	// leave the noise too small for a while.
	windowStep = 10.0
)

// rounds follows rounds of recharging and standing. In quiet time a leak makes the
// booster recharge at an even pace: every round delivers the same flow, the outlet falls
// smoothly while the piston stands, and the fall tells about the same flow (the air cools
// after a recharge, so about). Demand shows as steps, or as a flat outlet between them; in
// rounds that grow longer a tank cools down. Fields are exported for snapshots only.
type rounds struct {
	Delivered        station.Microlitres // by strokes, ever
	N                float64             // slots of the present standing time
	T, TT, P, TP, PP float64             // their sums: s and Pa, less At0 and P0
	T3, T4, TTP      float64
	Was, Step, DD    float64 // last mean, its change, and the sum of squares of the change's changes, Pa
	At0              station.Instant
	P0               float64

	EndAt station.Instant // when the standing time before ended, 0: none
	Air   station.Microlitres
	Ring  [mostRounds]packedRound
	Kept  int
}

// round is one round of recharging and standing.
type round struct {
	Seconds float64
	Air     float64 // m³ ANR delivered in it
	Fall    float64 // m³/s ANR that the outlet's fall tells
	Stood   float64 // s in which it fell
	Outlet  float64 // mean outlet meanwhile, Pa gauge
}

// packedRound holds the figures of a round, in their order, in little room.
type packedRound [5]float32

// back gives the i-th round from the end, 1 the last.
func (r *rounds) back(i int) round {
	p := &r.Ring[mostRounds-i]
	return round{float64(p[0]), float64(p[1]), float64(p[2]), float64(p[3]), float64(p[4])}
}

// watchRounds adds the slot that ended.
func (e *Engine) watchRounds(end station.Instant) {
	r := &e.Rounds
	if e.Outlet.N > 0 {
		e.coldAir()
	}
	if e.Outlet.N == 0 || e.Doubt.Who != 0 || e.State.ShutdownAt != 0 || e.Plate.TankVolume <= 0 || e.sharesTank() || e.Plate.Sensor == station.AtBranch {
		r.stop()
		return
	}
	if end.Sub(e.Act.LastWork) < e.settles() || e.followed() && e.State.Current.Working() || r.N > 0 && e.stepsUp(roundStep) {
		if r.N >= fewestSlots && !r.brief() {
			e.endRound(end)
		}
		r.N = 0 // shorter than that is a rest within a recharge
		return
	}
	if r.N == 0 {
		r.At0, r.P0 = end, e.Outlet.Mean
		r.T, r.TT, r.P, r.TP, r.PP, r.T3, r.T4, r.TTP = 0, 0, 0, 0, 0, 0, 0, 0
	}
	t, p := float64(end.Sub(r.At0))*1e-9, e.Outlet.Mean-r.P0
	r.N++
	r.T, r.TT, r.P, r.TP, r.PP = r.T+t, r.TT+t*t, r.P+p, r.TP+t*p, r.PP+p*p
	r.T3, r.T4, r.TTP = r.T3+t*t*t, r.T4+t*t*t*t, r.TTP+t*t*p
	r.step(p)
	e.standFloor(end)
	e.pauseFloor(end)
}

// settles returns how long, ns, after the last work that was seen the outlet does nothing but fall: a
// slot where the header shows to a frame when the piston came to stand, else a second.
func (e *Engine) settles() int64 {
	if e.followed() {
		return slotLen
	}
	return station.Second
}

// stepsUp tells whether the outlet rose in the slot as it does by a delivery: by so many times
// the noise of a slot's mean.
func (e *Engine) stepsUp(times float64) bool {
	noise := e.Ends.Out.Noise() / math.Sqrt(max(1, float64(e.Outlet.N)))
	return e.Outlet.Mean-e.Outlet.Before > max(times*noise, stepUp*e.Outlet.Mean)
}

// brief tells whether the standing time was a rest within a recharge: far shorter than those of the
// rounds before.
func (r *rounds) brief() bool {
	return r.Kept >= fewRounds && (r.N+2)*float64(slotLen)*1e-9 < 0.4*r.back(1).Stood
}

func (r *rounds) stop() { r.N, r.EndAt, r.Kept = 0, 0, 0 }

// endRound closes the round that ends with the standing time.
func (e *Engine) endRound(end station.Instant) {
	r := &e.Rounds
	fall, ok := e.fall()
	stood := (r.N + 2) * float64(slotLen) * 1e-9
	from, gas, p2 := r.EndAt, r.Delivered-r.Air, r.P0+r.P/r.N
	r.N, r.EndAt, r.Air = 0, end, r.Delivered
	if !ok || from == 0 {
		r.Kept = 0
		return
	}
	copy(r.Ring[:], r.Ring[1:])
	took := float64(end.Sub(from)) * 1e-9
	r.Ring[mostRounds-1] = packedRound{float32(took), float32(gas.CubicMetres()), float32(fall), float32(min(stood, took)), float32(p2)}
	r.Kept = min(r.Kept+1, mostRounds)
	e.judgeRounds(end)
}

// fall gives the flow that the outlet's fall in the standing time tells, m³/s ANR, false
// where it is too short, not smooth, or does not fall.
func (e *Engine) fall() (float64, bool) {
	r := &e.Rounds
	slope, left, d := r.line()
	if d <= 0 {
		return 0, false
	}
	rough, bent := math.Sqrt(max(0, left)/r.N), math.Sqrt(max(0, left-r.bend(slope))/r.N)
	drop := -slope * (r.N - 1) * float64(slotLen) * 1e-9
	noise := e.Ends.Out.Noise() / math.Sqrt(max(1, float64(slotLen)*1e-9*e.Ends.Out.Rate()))
	if r.stairs(drop, noise) || drop <= 2*noise || rough > max(3*noise, 0.12*drop) || r.N >= bentLong && bent > max(bentNoise*noise, bentFall*drop) {
		return 0, false
	}
	return -slope * e.Plate.TankVolume / float64(air.P0ANR) * e.airTemperature().Density(), true
}

// judgeRounds compares the rounds of the last minutes and takes their flow as the leak's.
func (e *Engine) judgeRounds(at station.Instant) {
	r := &e.Rounds
	a, reason := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs()) // not as learned: that hides what is lost inside
	n := r.enough()
	if n == 0 || reason != "" {
		return
	}
	unseen := 1.0 // strokes at the ends of the span that may be counted wrongly
	if e.inCycles() {
		unseen = 2
	}
	stroke := a.Boost.Value * 1e-3 * e.airTemperature().Density()
	b := r.balance(n, stroke, unseen)
	if !b.Alike || b.Gas <= 0 {
		return
	}
	// what was compressed at once cools while the piston stands: kappa times the fall, and
	// more by as much as it came in warm from its own compression (isentropic at most).
	warm := air.Kappa * math.Pow(max(1, float64(e.outletAbs()/e.inletAbs())), 1-1/air.Kappa)
	flow, told := b.Flow, b.Told/warm
	agrees := b.Fall >= 0.6*flow && b.Told <= warmFall*warm*flow
	band, from, p := 0.08*flow+flow*unseen*stroke/b.Gas, at.Add(-int64(b.Seconds*1e9)), b.Outlet+float64(e.Plate.AmbientPressure())
	quick, high := b.Stood > quickRecharge*b.Seconds, toldHigh
	if e.Mix.Less {
		high = toldStill
	}
	switch {
	case b.Even && b.Fall >= 0.6*flow && quick && flow-band > high*told:
		e.makeupInside(flow, band, told, p, from, at)
	case b.Even && agrees:
		if quick {
			e.Basis.Inside = insideBasis{Strokes: flow, Outlet: told}
			e.insideNot(flow+band-toldLow*told, from, at)
		}
		e.makeup(flow*b.Settled, band+flow*(1-b.Settled)/2, p, from, at)
	}
}

// step adds a slot's mean, Pa less P0, to the changes from slot to slot.
func (r *rounds) step(p float64) {
	change := p - r.Was
	switch {
	case r.N <= 1:
		r.DD, change = 0, 0
	case r.N > 2:
		r.DD += (change - r.Step) * (change - r.Step)
	}
	r.Was, r.Step = p, change
}

// stairs reports whether the standing outlet fell in steps, as consumers' pulses make it: its
// change from slot to slot itself changes by more than the mean fall a slot, on root mean
// square. A leak's changes with the pressure alone and air that cools has time constants of ten
// seconds and more, so either changes by a twentieth of its fall at most. Second differences of
// noise s in the means scatter by sqrt(6) s, of n of them the root mean square by 1/sqrt(2 n) more
// or less (common statistics; 4 of these are allowed).
func (r *rounds) stairs(drop, noise float64) bool {
	n := r.N - 2
	if n < 1 {
		return false
	}
	return math.Sqrt(r.DD/n) > drop/(r.N-1)+(1+4/math.Sqrt(2*n))*math.Sqrt(6)*noise
}

// line gives the straight line through the standing time's points: its slope, Pa/s, the sum of
// squares that it leaves, and N times that of the times about their mean, 0: there is no line.
func (r *rounds) line() (slope, left, d float64) {
	if d = r.N*r.TT - r.T*r.T; d <= 0 {
		return 0, 0, 0
	}
	slope = (r.N*r.TP - r.T*r.P) / d
	return slope, r.PP - r.P*r.P/r.N - slope*slope*d/r.N, d
}

// bend gives by how much a parabola through the standing time's points lowers the sum of squares
// that the straight line of that slope leaves: t² less its own line, times what of p goes with it.
func (r *rounds) bend(slope float64) float64 {
	mt, mtt, mp := r.T/r.N, r.TT/r.N, r.P/r.N
	stt := r.TT - r.N*mt*mt
	k := (r.T3 - r.N*mt*mtt) / stt // t² runs with t by k
	norm := r.T4 - r.N*mtt*mtt - k*(r.T3-r.N*mt*mtt)
	gain := r.TTP - r.N*mtt*mp - slope*(r.T3-r.N*mt*mtt)
	if !(norm > 1e-9*r.T4) {
		return 0
	}
	return gain * gain / norm
}

func (e *Engine) inletAbs() station.Absolute {
	return station.Gauge(e.Inlet.Mean).Absolute(e.Plate.AmbientPressure())
}

func (e *Engine) outletAbs() station.Absolute {
	return station.Gauge(e.Outlet.Mean).Absolute(e.Plate.AmbientPressure())
}
