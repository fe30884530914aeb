package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// What is left of a flow q through the outlet at pressure p is (q - q_meant)/p (mass balance of the tank). Flows in
// L/min ANR at 20 °C, pressures over that at which the leak is stated; the band of what is meant is a tenth of it.
func TestBaseDemandIsTakenOff(t *testing.T) {
	for _, c := range []struct {
		name              string
		flow, base, at    float64
		want, least, most float64
	}{
		{"none is meant", 40, 0, 1, 40, 40, 40},
		{"a leak beside it", 40, 30, 1, 10, 7, 13},
		{"nothing beside it", 30, 30, 1, 0, 0, 3},
		{"within its band", 32, 30, 1, 0, 0, 5},
		{"nothing beside it, at a lower pressure", 30, 30, 0.7, 0, 0, 3 / 0.7},
		{"the consumer paused: all of it may be a leak", 10, 30, 1, 0, 0, 13},
	} {
		p := testPlate()
		p.BaseDemand, p.AirTemperature = c.base/60e3, 293.15
		e := New(p, &discard{})
		op := e.operating()
		g := c.flow / 60e3 / (c.at * op)
		e.Mix.Makeup = e.lessMeant(station.Estimate{Value: g, Low: g, High: g, Method: station.MethodMakeup, From: t0, At: t0.Add(oneMinute)}, c.at*op)
		e.mixLeak(t0.Add(oneMinute))
		got := &e.Est[station.LeakConductance]
		l := 60e3 * op // of a conductance, at the pressure of the statement
		if tol := 0.02*c.flow + 0.05; !got.Known() || math.Abs(got.Value*l-c.want) > 1e-6 || math.Abs(got.Low*l-c.least) > tol || math.Abs(got.High*l-c.most) > tol {
			t.Errorf("%s: %.2f (%.2f to %.2f) L/min, want %g (%g to %g)", c.name, got.Value*l, got.Low*l, got.High*l, c.want, c.least, c.most)
		}
	}
}

// A bound of the outflow less the least that is meant bounds the leak; one below that shows a pause.
func TestBaseDemandOfABound(t *testing.T) {
	p := testPlate()
	p.BaseDemand = 30e-3
	e := New(p, &discard{})
	for q, want := range map[float64]float64{40e-3: 13e-3, 28e-3: 1e-3, 20e-3: 20e-3} {
		if got := e.boundOf(q); math.Abs(got-want) > 1e-12 {
			t.Errorf("of %g: %g, want %g", q, got, want)
		}
	}
}
