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
	At0              station.Instant
	P0               float64

	EndAt station.Instant // when the standing time before ended, 0: none
	Air   station.Microlitres
	Ring  [mostRounds]round
	Kept  int
}

// round is one round of recharging and standing.
type round struct {
	Seconds float64
	Air     float64 // m³ ANR delivered in it
	Fall    float64 // m³/s ANR that the outlet's fall tells
	Stood   float64 // s in which it fell
}

// watchRounds adds the slot that ended.
func (e *Engine) watchRounds(end station.Instant) {
	r := &e.Rounds
	if e.Outlet.N == 0 || e.State.ShutdownAt != 0 || e.Plate.TankVolume <= 0 || e.Plate.Sensor == station.AtBranch {
		r.stop()
		return
	}
	if end.Sub(e.Act.LastWork) < station.Second {
		if r.N >= fewestSlots {
			e.endRound(end)
		}
		r.N = 0 // shorter than that is a rest within a recharge
		return
	}
	if r.N == 0 {
		r.At0, r.P0 = end, e.Outlet.Mean
		r.T, r.TT, r.P, r.TP, r.PP = 0, 0, 0, 0, 0
	}
	t, p := float64(end.Sub(r.At0))*1e-9, e.Outlet.Mean-r.P0
	r.N++
	r.T, r.TT, r.P, r.TP, r.PP = r.T+t, r.TT+t*t, r.P+p, r.TP+t*p, r.PP+p*p
}

func (r *rounds) stop() { r.N, r.EndAt, r.Kept = 0, 0, 0 }

// endRound closes the round that ends with the standing time.
func (e *Engine) endRound(end station.Instant) {
	r := &e.Rounds
	fall, ok := e.fall()
	stood := (r.N + 2) * float64(slotLen) * 1e-9
	from, gas := r.EndAt, r.Delivered-r.Air
	r.N, r.EndAt, r.Air = 0, end, r.Delivered
	if !ok || from == 0 {
		r.Kept = 0
		return
	}
	copy(r.Ring[:], r.Ring[1:])
	r.Ring[mostRounds-1] = round{float64(end.Sub(from)) * 1e-9, gas.CubicMetres(), fall, math.Min(stood, float64(end.Sub(from))*1e-9)}
	r.Kept = min(r.Kept+1, mostRounds)
	e.judgeRounds(end)
}

// fall gives the flow that the outlet's fall in the standing time tells, m³/s ANR, false
// where it is too short, not smooth, or does not fall.
func (e *Engine) fall() (float64, bool) {
	r := &e.Rounds
	d := r.N*r.TT - r.T*r.T
	if d <= 0 {
		return 0, false
	}
	slope := (r.N*r.TP - r.T*r.P) / d
	left := r.PP - r.P*r.P/r.N - slope*slope*d/r.N
	rough := math.Sqrt(math.Max(0, left) / r.N)
	drop := -slope * (r.N - 1) * float64(slotLen) * 1e-9
	noise := e.Ends.Out.Noise() / math.Sqrt(math.Max(1, float64(slotLen)*1e-9*e.Ends.Out.Rate()))
	if drop <= 2*noise || rough > math.Max(3*noise, 0.12*drop) {
		return 0, false
	}
	return -slope * e.Plate.TankVolume / float64(air.P0ANR), true
}

// judgeRounds compares the rounds of the last minutes and takes their flow as the leak's.
func (e *Engine) judgeRounds(at station.Instant) {
	r := &e.Rounds
	n, seconds, gas, fall, stood := 0, 0.0, 0.0, 0.0, 0.0
	for n < r.Kept && (n < leastRounds || seconds < roundsSpan) {
		n++
		x := &r.Ring[mostRounds-n]
		seconds, gas, fall, stood = seconds+x.Seconds, gas+x.Air, fall+x.Fall, stood+x.Stood
	}
	a, reason := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	if n < leastRounds || seconds < roundsSpan || gas <= 0 || reason != "" {
		return
	}
	flow, stroke := gas/seconds, a.Boost.Value*1e-3
	fall /= float64(n)
	var s, g [2]float64 // the late and the early half
	for i := range n {
		x := &r.Ring[mostRounds-1-i]
		if math.Abs(x.Fall-fall) > 0.35*fall || math.Abs(x.Air-flow*x.Seconds) > 0.2*flow*x.Seconds+2.2*stroke {
			return
		}
		h := 0
		if 2*i >= n {
			h = 1
		}
		s[h] += x.Seconds
		g[h] += x.Air
	}
	late, early := g[0]/s[0], g[1]/s[1]
	even := math.Abs(early-late) <= 0.1*flow+2*stroke/math.Min(s[0], s[1])
	// what was compressed at once cools while the piston stands: kappa times the fall at most
	agrees := fall >= 0.6*flow && fall*stood/seconds <= 1.5*flow
	if !even || !agrees {
		return
	}
	e.makeup(flow, 0.08*flow+stroke/seconds, e.operating(), at)
}

func (e *Engine) inletAbs() station.Absolute {
	return station.Gauge(e.Inlet.Mean).Absolute(e.Plate.AmbientPressure())
}

func (e *Engine) outletAbs() station.Absolute {
	return station.Gauge(e.Outlet.Mean).Absolute(e.Plate.AmbientPressure())
}

// makeup takes a flow, m³/s ANR, that strokes make up for at pressure p (Pa abs). A decay
// measured lately says it better.
func (e *Engine) makeup(flow, band, p float64, at station.Instant) {
	if e.Est[station.LeakFlow].Method == station.MethodDecay && at.Sub(e.Est[station.LeakFlow].At) < 15*station.Minute60 {
		return
	}
	e.Basis.makeup(&e.Leak, &e.Rounds, flow, p)
	g := station.Estimate{Value: flow, Low: math.Max(0, flow-band), High: flow + band, Method: station.MethodMakeup, Confidence: 0.6, At: at}
	e.Est[station.LeakFlow] = g
	g.Value, g.Low, g.High = g.Value/p, g.Low/p, g.High/p
	e.Est[station.LeakConductance] = g
}
