package engine

import (
	"math"

	"strokewise/analyzer/station"
)

// A booster without a governor strokes until the forces balance, and again as soon as the outlet falls by more than its
// friction holds. So it has no set pressure: its outlet stands at
//
//	p2 = p1 + p_d A_d/A_b - F/A_b, gauge
//
// at the static inlet p1, which moves it, and p_d the same or what a regulator of the drive side leaves of it.

// noGovernor is why what only a governor has is not known.
const noGovernor = "the booster has no governor: its outlet stands where the forces balance"

// followsOutlet is why the outlet's fall while the station is fed does not tell the leak of such a booster.
const followsOutlet = "without a governor the piston follows the outlet as it falls: shown by make-up strokes, or once the supply is closed"

// learnBalance learns the friction, F/A_b, from the top of a run, Pa gauge, and reports whether the piston stood
// where the forces balance: by more than friction takes at most, it was something else that ended the run.
func (e *Engine) learnBalance(top float64) bool {
	s := &e.Supply
	ideal := e.balance(s.Rest)
	loss := ideal - top
	if loss < 0 || loss > mostLoss*ideal {
		return false
	}
	if s.LearnedSet == 0 {
		s.SetLoss = loss
	}
	s.SetLoss += 0.3 * (loss - s.SetLoss)
	return true
}

// balance returns where the forces balance without friction at a static inlet, both Pa gauge.
func (e *Engine) balance(static float64) float64 {
	return float64(e.Plate.Stall(station.Gauge(static)))
}

// balances reports whether the outlet stands where the forces balance, and that is known: no governor, and the bores
// given.
func (e *Engine) balances() bool { return e.Plate.Ungoverned && e.Plate.AreaRatio > 0 }

// followBalance moves the outlet at which the piston stands with the static inlet.
func (e *Engine) followBalance() {
	if s := &e.Supply; e.balances() && s.LearnedSet > 0 && s.Rest > 0 {
		s.LearnedSet = e.balance(s.Rest) - s.SetLoss
	}
}

// stateBalance states where the forces balance as what the station has for a set pressure. Friction is known from
// its last stalls within 2 % of the balance, as in reachable.
func (e *Engine) stateBalance(at station.Instant) {
	s := &e.Supply
	ideal := e.balance(s.Rest)
	e.Est[station.SetPressure] = station.Estimate{Value: s.LearnedSet, Low: s.LearnedSet - stallBand*ideal, High: math.Min(ideal, s.LearnedSet+stallBand*ideal),
		Method: station.MethodTraces, Confidence: 0.6, At: at}
}

// stallBand is the error of a learned stall, share of the balance without friction. Own choice, no source: a third more widens
// the bands of set and reach alone.
const stallBand = 0.02

// balanceInputs states what the pressure was obtained from at which the piston stands.
func (e *Engine) balanceInputs() []station.Input {
	s := &e.Supply
	out := []station.Input{words("governor", "none: the piston stands where the forces balance", station.FromPlate), plate("drive over boost piston area A_d/A_b", e.Plate.AreaRatio, 1, "")}
	if s.LearnedSet > 0 {
		out = append(out, measured("resting inlet (static)", s.Rest*1e-3, "kPa gauge"), computed("friction F/A_b, by the ends of runs", s.SetLoss*1e-3, "kPa"))
	}
	return out
}

// followsOn reports whether a piston without a governor still strokes: between two counts it never stood, so that all of the
// time between them was work where that was quicker than SlowestStroke. It is taken to go on for half as long again as
// the longer of the last two such times: intervals grow towards the balance.
func (e *Engine) followsOn(end station.Instant) bool {
	x, slowest, gap := &e.State.Edge, e.perCount()*station.SlowestStroke, int64(0)
	for _, g := range x.IncGaps {
		if g <= slowest {
			gap = max(gap, g)
		}
	}
	return gap > 0 && e.Fuse.CounterServes() && end.Sub(x.IncAt) <= min(gap*3/2, slowest)
}
