package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// meantBand is the error of base_demand, share of it: a nozzle's data sheet or a variable-area meter (common practice,
// no source). A band that is a third narrower tells a leak of a fifteenth of the demand where there is none.
const meantBand = 0.1

// meant returns the flow that is meant to leave the outlet at all times, m³/s ANR, with its band.
func (e *Engine) meant() air.Range {
	q := e.Plate.BaseDemand
	return air.Range{Value: q, Low: (1 - meantBand) * q, High: (1 + meantBand) * q}
}

// lessMeant returns what is left of a conductance that was obtained at pressure p, Pa absolute, once the flow q
// that is meant is taken off:
//
//	C - q/(p sqrt(T_0/T))
//
// Its value and its lower end may lie below zero, see leakOf.
func (e *Engine) lessMeant(g station.Estimate, p float64) station.Estimate {
	q := e.Plate.BaseDemand
	if q <= 0 || !(p > 0) {
		return g
	}
	c := q / (p * e.airTemperature().Root())
	low, high := g.Value-g.Low, g.High-g.Value
	g.Value -= c
	g.Low, g.High = g.Value-math.Hypot(low, meantBand*c), g.Value+math.Hypot(high, meantBand*c)
	return g
}

// leakOf returns the leak that a conductance less what is meant states. Where the band reaches to zero none was
// seen, and the leak is at most its upper end. Where even that is below zero the consumer drew less than is meant, or
// nothing: what it left may be a leak, so that the whole outflow is the bound.
func (e *Engine) leakOf(g station.Estimate) station.Estimate {
	q := e.Plate.BaseDemand
	if q <= 0 || g.Low > 0 {
		return g
	}
	if g.High <= 0 {
		g.High += q / (e.operating() * e.airTemperature().Root())
	}
	g.Value, g.Low, g.High = 0, 0, math.Max(0, g.High)
	return g
}

// boundOf returns how much of a bound of the outflow, m³/s ANR, may be a leak. Less than what is meant shows that the
// consumer paused, and all of it may be one.
func (e *Engine) boundOf(q float64) float64 {
	if low := e.meant().Low; q > low {
		return q - low
	}
	return q
}

// window returns the mean outlet over the standing window, Pa absolute.
func (l *leakWatch) window() float64 {
	sum := 0.0
	for _, p := range l.P {
		sum += p
	}
	return sum / float64(len(l.P))
}

// meantInputs states what was taken off a leak, where anything was.
func (e *Engine) meantInputs() []station.Input {
	q := e.Plate.BaseDemand
	if q <= 0 {
		return nil
	}
	var out []station.Input
	if p := e.Basis.Window; p > 0 {
		out = append(out, measured("mean outlet in the standing window", p*1e-3, "kPa abs"))
	}
	return append(out,
		plate("base demand, meant to flow at all times: taken off what leaves the outlet", q, 60e3, "L/min ANR"),
		assumed("error of the base demand", 100*meantBand, "%", "data sheet of a nozzle or variable-area meter: common practice, no source"))
}
