package air

import (
	"math"

	"strokewise/analyzer/station"
)

// Assumptions of the air of a stroke, none of which the traces show.
const (
	// deadBoost is the dead volume of a boost chamber over its swept volume; 5 to 10 %
	// is usual (common practice, no source).
	deadBoost = 0.07
	// boostLoss is the further loss of volumetric efficiency by cracking pressure of
	// the check valves and warm chambers (an independent model of a doubling booster).
	boostLoss = 0.03
	// deadDrive is the dead volume of a drive chamber over its swept volume (common
	// practice, no source).
	deadDrive = 0.05
	// boostBand is the relative half-width of the band of the boost side's air.
	boostBand = 0.06
)

// Range is a figure with its 90 % band.
type Range struct{ Value, Low, High float64 }

// StrokeAir is the air of one stroke, litres at ANR: delivered, exhausted, drawn in.
type StrokeAir struct{ Boost, Drive, Inlet Range }

// PerStroke gives the air of one stroke with the inlet at p1 and the outlet at p2:
//
//	boost: p1 V_b eta/p0,                       eta = 1 - c((p2/p1)^(1/kappa) - 1) - loss
//	drive: (p_d V_d + (p_d - p_atm) V_dead)/p0
//	p_atm + (p2 - p1)/ratio <= p_d <= p1
//
// p_d, the drive pressure when the exhaust opens, is not measured: its bounds are the
// force balance without friction and the supply; the value is the middle, the band runs
// from bound to bound. p0 is 100 kPa; the air is taken as having 20 °C. The reason is
// set, and the air zero, where the plate lacks volumes or p1 is not above vacuum.
func PerStroke(p *station.Plate, p1, p2 station.Absolute) (StrokeAir, string) {
	if p.SweptBoost <= 0 || p.SweptDrive <= 0 {
		return StrokeAir{}, "needs bores and stroke, or swept volumes"
	}
	if !(p1 > 0) || !(p2 > 0) {
		return StrokeAir{}, "needs inlet and outlet pressure"
	}
	eta := VolumetricEfficiency(p1, p2)
	b := float64(p1) * p.SweptBoost * eta / float64(P0ANR) * 1e3
	amb := p.AmbientPressure()
	low, high := DriveBounds(p, p1, p2)
	d := Range{driveAir(p, (low+high)/2, amb), driveAir(p, low, amb), driveAir(p, high, amb)}
	s := StrokeAir{Boost: Range{b, (1 - boostBand) * b, (1 + boostBand) * b}, Drive: d}
	s.Inlet = Range{b + d.Value, s.Boost.Low + d.Low, s.Boost.High + d.High}
	return s, ""
}

// VolumetricEfficiency gives the share of the swept boost volume that is filled with
// fresh air at p1 in each stroke against p2, 0..1: what the dead volume re-expands and
// what valves and warmth cost is taken off.
func VolumetricEfficiency(p1, p2 station.Absolute) float64 {
	eta := 1 - deadBoost*(math.Pow(float64(p2/p1), 1/Kappa)-1) - boostLoss
	return math.Min(1, math.Max(0, eta))
}

// DriveBounds gives the bounds of the drive pressure at the end of a stroke: the force
// balance without friction, and the supply.
func DriveBounds(p *station.Plate, p1, p2 station.Absolute) (low, high station.Absolute) {
	ratio := p.AreaRatio
	if ratio <= 0 && p.SweptBoost > 0 {
		ratio = p.SweptDrive / p.SweptBoost // equal strokes
	}
	amb := p.AmbientPressure()
	low = amb
	if ratio > 0 {
		low = amb + (p2-p1)/station.Absolute(ratio)
	}
	return max(amb, min(p1, low)), max(amb, p1)
}

// driveAir gives the air, litres ANR, that leaves through the exhaust after a stroke
// that ended with pd in the drive chamber.
func driveAir(p *station.Plate, pd, amb station.Absolute) float64 {
	return (float64(pd)*p.SweptDrive + float64(pd-amb)*deadDrive*p.SweptDrive) / float64(P0ANR) * 1e3
}

// Stall gives the highest outlet pressure, Pa gauge, that an inlet of p1 gauge can reach
// with drive over boost area ratio and friction force f (N) on boost area ab (m², may be
// zero where f is):
//
//	p2 = p1 (1 + ratio) - f/ab
func Stall(p1 station.Gauge, ratio, f, ab float64) station.Gauge {
	p2 := float64(p1) * (1 + ratio)
	if f > 0 && ab > 0 {
		p2 -= f / ab
	}
	return station.Gauge(p2)
}
