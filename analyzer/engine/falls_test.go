package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// near reports whether two figures agree within a ten thousandth.
func near(a, b float64) bool { return math.Abs(a-b) <= 1e-4*math.Abs(b) }

// A tank of 20 L that falls by 100 kPa, the pressure of ANR, gives up its volume: 20 L ANR at 20 °C (ISO 8778). With 5 L of
// strokes in 5 s that is a flow of 5 L/s and, over a mean of 950 kPa, a conductance of 5e-3/950e3 m³/(s Pa).
func TestDrawByTheTanksBalance(t *testing.T) {
	e := New(testPlate(), discard{})
	e.Plate.AirTemperature = 293.15
	e.Fuse.Seen = true
	e.Inlet.Mean, e.Outlet.Mean = 600e3, 850e3
	f := &e.Falls
	f.delivered(5e-3)
	f.Out[0], f.Out[drawSlots] = 1000e3, 900e3
	e.balanceFalls()
	density := e.airTemperature().Density()
	if want := (5e-3 + 20e-3*100e3/float64(air.P0ANR)*density) / 5; !near(f.Flow, want) || !near(f.Draw, want/950e3) || !f.Flows {
		t.Errorf("draw %.5g m³/s (%.4g by pressure), by hand %.5g", f.Flow, f.Draw, want)
	}
	if math.Abs(density-1) > 0.001 {
		t.Errorf("at 20 °C the density is that of ANR, not %.4f of it", density)
	}
}

// Without the tank's volume the fall of ln p is the draw: from 1000 to 900 kPa in 5 s it is ln(10/9)/5 = 0.02107 1/s.
func TestDrawWithoutTheTank(t *testing.T) {
	e := New(testPlate(), discard{})
	e.Plate.TankVolume = 0
	f := &e.Falls
	f.Out[0], f.Out[drawSlots] = 1000e3, 900e3
	if e.balanceFalls(); !near(f.Draw, 0.0210721) || f.Flows || !f.Bare {
		t.Errorf("fall of ln p %.6f 1/s, by hand 0.021072", f.Draw)
	}
}

// A draw is usual once the outlet has held for a whole part, 30 s, after it. One that pulls the outlet low is not, until
// the outlet has recovered; a shutdown forgets it.
func TestUseIsLearnedOnceTheOutletHeld(t *testing.T) {
	slots := func(f *falls, n int, draw float64, low bool) {
		for range n {
			f.Draw = draw
			f.learn(low, true)
		}
	}
	var f falls
	slots(&f, drawPart, 5e-9, false)
	slots(&f, drawPart-1, 1e-9, false)
	if f.Top != 0 {
		t.Errorf("%.2g is usual before a whole part has passed behind it", f.Top)
	}
	if slots(&f, 1, 1e-9, false); !near(f.Top, 5e-9) {
		t.Errorf("%.3g is usual, 5e-9 was drawn", f.Top)
	}
	slots(&f, 600, 40e-9, true) // a torn hose
	if f.Top > 5e-9 {
		t.Errorf("a draw that holds the outlet low became usual: %.3g", f.Top)
	}
	recovered := f
	if slots(&recovered, 2*drawPart, 1e-9, false); !near(recovered.Top, 40e-9) {
		t.Errorf("the outlet recovered, and %.3g is usual of 40e-9", recovered.Top)
	}
	f.stop(true)
	if slots(&f, 2*drawPart, 1e-9, false); f.Top > 5e-9 {
		t.Errorf("after a shutdown %.3g is usual", f.Top)
	}
}

// The history fades over two weeks: after one, 1 - 1/2 of it in small steps is e^-0.5 = 0.6065 of it.
func TestUsualDrawFades(t *testing.T) {
	f := falls{Top: 1}
	for range 7 * 86400 * 2 {
		f.learn(true, false)
	}
	if !near(f.Top, math.Exp(-0.5)) {
		t.Errorf("after a week %.4f is left, by hand %.4f", f.Top, math.Exp(-0.5))
	}
}

// From 1100 to 700 kPa in 10 s a tank gives up 80 L ANR while strokes deliver 40: three times the strokes. A draw of
// 2e-8 m³/(s Pa) that was seen before is more than the strokes' 40e-3/(10 x 900e3) = 0.444e-8: 1.333/2.
func TestPlungeAgainstTheStrokes(t *testing.T) {
	x := plunge{Air: 40e-3}
	x.cross(80e-3, 900e3, 10, 0)
	if !near(x.over(), 3) || !near(x.Draw, 120e-3/9e6) {
		t.Errorf("over %.4f, by hand 3", x.over())
	}
	x.cross(80e-3, 900e3, 10, 2e-8)
	if !near(x.over(), 120e-3/9e6/2e-8) {
		t.Errorf("over %.4f of the usual, by hand 0.6667", x.over())
	}
	var stands plunge
	if stands.cross(80e-3, 900e3, 10, 0); stands.over() != 0 {
		t.Error("no stroke delivered, and a plunge was concluded")
	}
}

// plunges is a station that was watched for so many seconds and whose outlet falls from 890 kPa to under its inlet of 600 kPa
// in 10 s, with 20 L ANR of strokes.
func plunges(fed float64, state station.State) *Engine {
	e := New(testPlate(), discard{})
	f := &e.Falls
	e.State.Current, e.Inlet.Mean = state, 600e3
	f.Fed, f.Reached, f.Flows = fed, true, true
	for i := range 21 {
		e.Outlet.Mean = 890e3 - 15e3*float64(i)
		f.Air[drawSlots-1] = 1e-3
		e.watchPlunge(float64(e.outletAbs()), t0.Add(int64(i)*slotLen))
	}
	return e
}

// The tank of 20 L gives up about 57 L ANR of 285 kPa (the last slot at set is the third, 860 kPa), the strokes 18: four
// times as much. Not in the first five minutes, not by a piston that stands; it ends with the outlet above what
// the branch needs, 0.85 of 900 kPa.
func TestPlungeBelowTheInlet(t *testing.T) {
	e := plunges(plungeKnown, station.Stroking)
	if x := e.Falls.Plunge.over(); x < 3.5 || x > 4.5 {
		t.Errorf("over %.2f, by hand about 4", x)
	}
	e.Outlet.Mean = 766e3
	if e.watchPlunge(float64(e.outletAbs()), t0.Add(3600e9)); e.Falls.Plunge.over() != 0 {
		t.Error("the outlet has recovered, and the plunge lasts")
	}
	if plunges(plungeKnown-1, station.Stroking).Falls.Plunge.over() != 0 || plunges(plungeKnown, station.Starved).Falls.Plunge.over() != 0 {
		t.Error("a plunge in the first minutes, or with a piston that stands")
	}
}
