package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// basis keeps the few numbers that the leak was last obtained from, for Explain. Fields are
// exported for snapshots only.
type basis struct {
	From, To  station.Instant // standing window of the last accepted fit
	Points    int
	Rate      float64 // 1/s
	Low, High float64 // its 90 % band
	Theta     float64 // thermal term
	TauTh     float64 // s
	Residual  float64 // share of the pressure
	Shape     air.Shape
	Pressure  float64 // Pa abs, at which the flow is stated

	Flow    float64 // m³/s ANR that strokes made up
	Minutes int     // steady ones it was taken over, or
	Rounds  int     // rounds of recharging and standing
}

// decay notes the window and the fit that gave the leak.
func (b *basis) decay(l *leakWatch, d *air.Decay, p float64, at station.Instant) {
	flow, minutes, rounds := b.Flow, b.Minutes, b.Rounds
	*b = basis{From: l.From, To: at, Points: len(l.T), Rate: d.Rate, Low: d.Low, High: d.High,
		Theta: d.Theta, TauTh: d.TauTh, Residual: d.Residual, Shape: d.Shape, Pressure: p,
		Flow: flow, Minutes: minutes, Rounds: rounds}
}

// makeup notes what gave a leak by strokes.
func (b *basis) makeup(l *leakWatch, r *rounds, flow, p float64) {
	b.Flow, b.Pressure, b.Minutes, b.Rounds = flow, p, 0, 0
	if l.Steady >= steadyMinutes {
		b.Minutes = l.Steady
	} else {
		b.Rounds = r.Kept
	}
}
