package engine

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// A piston that stands lives on the tank alone, so the outlet's fall bounds the leak (mass balance of
// the tank). Make-up of 12 and a bound of 3 in its window: consumers were taken for a leak.
func TestStandingOutletRefutesALeak(t *testing.T) {
	op := 900e3 + 101325.0
	at := func(m int64) station.Instant { return t0.Add(m * oneMinute) }
	for _, c := range []struct {
		name  string
		bound float64 // 1e-10 m³/(s·Pa) times the operating pressure
		at    int64   // min
		decay bool    // of 2, in the window
		want  float64 // 1e-10 m³/(s·Pa), 0: unknown
	}{
		{"no bound", 0, 0, false, 12}, {"in the window", 3, 12, false, 0}, {"before the window", 3, 4, false, 12},
		{"a bound above it", 13, 12, false, 12}, {"within the tank's error", 11.6, 12, false, 12}, {"a decay beside it", 3, 12, true, 2},
	} {
		e := New(testPlate(), &discard{})
		if c.bound > 0 {
			e.bounded(at(c.at), floorHour{Flow: c.bound * 1e-10 * op, Stood: 4})
		}
		if c.decay {
			e.Mix.Decay = told(station.MethodDecay, 2, 0.5, 10, 14)
		}
		e.Mix.Makeup = told(station.MethodMakeup, 12, 2, 10, 15)
		e.mixLeak(at(15))
		g := &e.Est[station.LeakConductance]
		if c.want == 0 && (g.Known() || g.Reason != noLeakSeen) || c.want > 0 && math.Abs(g.Value*1e10-c.want) > 1e-9 {
			t.Errorf("%s: %+v, want %g", c.name, g, c.want)
		}
	}
	e := mixed(told(station.MethodMakeup, 12, 2, 10, 15))
	e.bounded(at(16), floorHour{Flow: 3e-10 * op, Stood: 4})
	if g := &e.Est[station.LeakFlow]; g.Known() {
		t.Errorf("a leak that was mended is still told: %+v", g)
	}
	if most := &e.Floor5; most.leastStood(at(15)) != 3e-10*op || !math.IsInf(most.leastStood(at(17)), 1) {
		t.Error("the bound is not kept")
	}
}

// stoodBy feeds the slots of a standing time to rounds and returns the fall over it.
func stoodBy(r *rounds, p func(i int) float64, slots int) (drop float64) {
	*r = rounds{}
	for i := range slots {
		r.N++
		r.step(p(i))
	}
	return p(0) - p(slots-1)
}

// A leak falls smoothly, warm air or not; pulses of a consumer make stairs of the same mean fall: 12 kPa
// in 20 s as a leak with the tail of a recharge (time constant 10 s), and as four steps.
func TestStairsAreNoLeak(t *testing.T) {
	rng, noise := rand.New(rand.NewPCG(3, 4)), 100.0
	var r rounds
	wrong, missed := 0, 0
	for range 500 {
		smooth := func(i int) float64 {
			s := float64(i) / 2
			return -600*s + 5e3*math.Exp(-s/10)
		}
		steps := func(i int) float64 { return -3e3 * float64(i/10) }
		noisy := func(p func(int) float64) []float64 {
			out := make([]float64, 41)
			for i := range out {
				out[i] = p(i) + noise*rng.NormFloat64()
			}
			return out
		}
		a, b := noisy(smooth), noisy(steps)
		if drop := stoodBy(&r, func(i int) float64 { return a[i] }, 41); r.stairs(drop, noise) {
			wrong++
		}
		if drop := stoodBy(&r, func(i int) float64 { return b[i] }, 41); !r.stairs(drop, noise) {
			missed++
		}
	}
	if wrong > 1 || missed > 0 { // 4 standard deviations: 1 in 30,000
		t.Errorf("%d of 500 leaks are stairs, %d of 500 stairs are none", wrong, missed)
	}
	if stoodBy(&r, func(int) float64 { return 0 }, 2); r.stairs(0, noise) {
		t.Error("two slots are stairs")
	}
}
