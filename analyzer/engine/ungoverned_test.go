package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// ungovernedEngine returns the engine of a booster without a governor on a header that rests at p, Pa gauge.
func ungovernedEngine(p float64) *Engine {
	plate := testPlate()
	plate.Set, plate.Ungoverned = 0, true
	e := New(plate, &discard{})
	e.Supply.Rest = p
	return e
}

// The piston of a doubling booster stands at p1 (1 + A_d/A_b) - F/A_b (force balance, both gauge): what lacks to twice the
// inlet and some is friction, and the balance moves with the inlet, friction does not.
func TestBalanceFollowsTheInlet(t *testing.T) {
	e := ungovernedEngine(600e3)
	ratio := 1 + e.Plate.AreaRatio
	top := 600e3*ratio - 40e3
	if !e.learnBalance(top) || math.Abs(e.Supply.SetLoss-40e3) > 1e-6 {
		t.Fatalf("friction %g, want 40 kPa", e.Supply.SetLoss)
	}
	e.Supply.LearnedSet = top
	e.Supply.Rest = 540e3
	if e.followBalance(); math.Abs(e.set()-(540e3*ratio-40e3)) > 1e-6 {
		t.Errorf("at 540 kPa the piston is taken to stand at %g, want %g", e.set(), 540e3*ratio-40e3)
	}
}

// A run that ends above the balance, or more than friction takes below it, was not ended by the forces.
func TestBalanceRefusesOtherEnds(t *testing.T) {
	e := ungovernedEngine(600e3)
	ideal := e.balance(600e3)
	for _, top := range []float64{ideal + 1e3, 0.89 * ideal} {
		if e.learnBalance(top) {
			t.Errorf("a run that ended at %.3f of the balance taught the friction", top/ideal)
		}
	}
}

// Between two counts no more than 30 s a stroke apart a piston without a governor never stood: after counts every 20 s it goes
// on for 30 s; after counts a minute and a half apart (cycles) nothing shows that it moved faster than it creeps.
func TestWithoutGovernorCountsAreWork(t *testing.T) {
	for _, c := range []struct {
		gap, after int64 // s
		goes       bool
	}{{20, 10, true}, {20, 29, true}, {20, 31, false}, {60, 59, true}, {60, 61, false}, {90, 1, false}} {
		e := ungovernedEngine(600e3)
		e.Counter.PerCycle, e.Fuse.PerCycle = true, true
		x := &e.State.Edge
		x.IncAt, x.IncGaps = t0, [2]int64{c.gap * station.Second, c.gap * station.Second}
		e.Fuse.Seen = true
		if got := e.followsOn(t0.Add(c.after * station.Second)); got != c.goes {
			t.Errorf("%d s after counts every %d s: goes on %v", c.after, c.gap, got)
		}
	}
}
