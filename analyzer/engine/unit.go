package engine

import (
	"math"

	"strokewise/analyzer/station"
)

// unit is a mistake in the unit of a sensor: its readings come times a factor. 1 psi =
// 6.894757 kPa (ISO 80000-4, from memory).
type unit struct {
	factor float64
	is     station.UnitMistake
}

// units are the mistakes that are looked for, the commoner first (from memory).
var units = [...]unit{
	{0.01, station.BarAsKPa},
	{1 / 6.894757, station.PSIAsKPa},
	{100, station.KPaAsBar},
	{6.894757, station.KPaAsPSI},
	{0.001, station.MPaAsKPa},
	{0.0689476, station.BarAsPSI},
	{14.50377, station.PSIAsBar},
	{0.1, station.MPaAsBar},
	{10, station.BarAsMPa},
}

// of returns the mistake of a sensor as a reason.
func (u *unit) of(w who) station.StateReason {
	return station.StateReason{Is: station.UnitAgainstSet, Sides: w, Mistake: u.is}
}

// unitOf gives the mistake that explains x where something between low and high times true
// is expected, nil if none does.
func unitOf(x, true_, low, high float64) *unit {
	for i := range units {
		if u := &units[i]; true_ > 0 && x > low*u.factor*true_ && x < high*u.factor*true_ {
			return u
		}
	}
	return nil
}

// ratioUnit gives the mistake whose factor a ratio is, within 3 %.
func ratioUnit(r float64) *unit { return unitOf(r, 1, 0.97, 1.03) }

// inletRange gives between which gauge pressures a fed inlet is to be expected for the set
// pressure, Pa: the booster must reach it (set <= p1 (1 + A_d/A_b)), and would not be there
// if the inlet were above it. Without bores a ratio of 4 is taken, the largest usual one
// (common practice, no source).
func (e *Engine) inletRange() (low, high float64) {
	ratio := e.Plate.AreaRatio
	if ratio <= 0 {
		ratio = 4
	}
	set := float64(e.Plate.Set)
	return 0.9 * set / (1 + ratio), 1.02 * set
}

// inletUnit gives the mistake that explains the present inlet, nil if none does or the set
// pressure is not known.
func (e *Engine) inletUnit() *unit {
	low, high := e.inletRange()
	p1 := e.Inlet.Mean
	if e.Plate.Set <= 0 || p1 <= 0 || p1 > low && p1 < high {
		return nil
	}
	for i := range units {
		if u := &units[i]; p1 > low*u.factor && p1 < high*u.factor && math.Abs(math.Log(u.factor)) > 0.5 {
			return u
		}
	}
	return nil
}
