package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// draws feeds n blocks of ten seconds in which at least so many m³/s leave the outlet.
func draws(d *steadyDraw, n int, least float64) {
	for i := range n * steadySlots {
		x := least
		if i%4 == 1 {
			x += 5e-3 // consumers
		}
		if d.take(x, true) {
			d.learn(d.least())
		}
	}
}

// A minute and a half in which 3 L/s leave at every moment contradict a leak of at most 1.9 L/s, by the factor 1.5, and
// none of 2.1. A consumer of 2 L/s that was on for as long and paused is use: then 3 L/s, which is 1.5 of that, are no sign.
func TestSteadyDrawContradictsALeak(t *testing.T) {
	var d steadyDraw
	draws(&d, 180, 0) // half an hour of a branch that pauses
	draws(&d, steadyBlocks-1, 3e-3)
	if d.outgrows(d.least(), 0) {
		t.Error("the stretch is not yet as long as it must be")
	}
	draws(&d, 1, 3e-3)
	if !d.outgrows(d.least(), 1.9e-3) || d.outgrows(d.least(), 2.1e-3) {
		t.Errorf("least %.2g m³/s against bounds of 1.9 and 2.1 L/s", d.least())
	}
	var c steadyDraw
	draws(&c, 180, 0)
	draws(&c, 2*steadyBlocks, 2e-3)
	draws(&c, 1, 0)
	if math.Abs(c.Usual/2e-3-1) > 0.001 {
		t.Errorf("a consumer of 2 L/s that paused is use, and %.3g L/s are usual", 1e3*c.Usual)
	}
	if draws(&c, steadyBlocks, 2.99e-3); c.outgrows(c.least(), 0) {
		t.Error("2.99 L/s are no more than 1.5 of the usual 2 L/s")
	}
}

// A leak does not pause: however long it lasts, it does not become use. A stretch that ends unseen teaches nothing, and
// a branch that was watched for less than half an hour contradicts nothing.
func TestALeakDoesNotBecomeUse(t *testing.T) {
	var d steadyDraw
	draws(&d, 180, 0)
	draws(&d, 24*360, 3e-3) // a day
	if d.Usual > 0 || !d.outgrows(d.least(), 1e-3) {
		t.Errorf("after a day of a leak %.3g L/s are usual", 1e3*d.Usual)
	}
	d.take(0, false)
	if draws(&d, 1, 0); d.Usual > 0 {
		t.Errorf("a stretch whose end was not seen teaches %.3g L/s", 1e3*d.Usual)
	}
	var n steadyDraw
	if draws(&n, 179, 3e-3); n.outgrows(n.least(), 0) {
		t.Error("29 min 50 s of history contradict a leak")
	}
}

// What was found while the draw went on stays, what is older goes.
func TestLaterEstimatesStay(t *testing.T) {
	g := station.Estimate{Value: 1, Method: station.MethodDecay, At: t0.Add(60e9)}
	if x := later(&g, t0.Add(59e9)); !x.Known() {
		t.Error("a newer estimate is dropped")
	}
	if x := later(&g, t0.Add(60e9)); x.Known() {
		t.Error("an older estimate stays")
	}
}
