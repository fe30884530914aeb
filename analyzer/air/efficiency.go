package air

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// restLoss is what cracking pressure of the check valves and warm chambers cost of the
	// volumetric efficiency, however slow the stroke.
	restLoss = 0.002
	// suctionLoss, s², over the square of a stroke's time is what the inlet check valve's
	// pressure drop costs.
	suctionLoss = 0.007
	// restBand and suctionBand are half-widths of 90 % bands: of restLoss, and of suctionLoss as a
	// share of it, for check valves from 0.6 to 1.4 of the usual size. With a dead volume of 3 to 12 %
	// 264 of 300 virtual stations lie within.
	restBand    = 0.01
	suctionBand = 1.0
)

// VolumetricEfficiency gives the share of the swept boost volume that is filled with
// fresh air at p1 in each stroke against p2, 0..1:
//
//	eta = 1 - c((p2/p1)^(1/kappa) - 1) - l0 - l1/t²
//
// c is the dead volume, which re-expands isentropically; l0 and l1 are what valves and warmth
// cost. The check valve at the inlet lets through C p1 psi(p/p1) (ISO 6358) while the piston
// draws V_b p/t, so near equal pressures
//
//	(p1 - p)/p1 = (1 - b)/2 (V_b/(C p0 t))²
//
// is missing at the end of the suction: a slow stroke fills better. Over 100 virtual stations of
// collector/rig of area ratios 1 to 4 the loss beyond re-expansion is 0.002 + 0.0069 s²/t² with the
// usual valves (V_b/C = 0.18 s bar), and goes with 1/C² as it should. Recordings of an independent
// model lose 0.018, 0.030, 0.033 and 0.056 at 1/t² of 2.7, 4.5, 5.2 and 7.6 /s² (means over their
// strokes; with a dead volume of 0.056). t is held within what full speed may be at the short end,
// and taken as that of full speed where it is not known.
func VolumetricEfficiency(p1, p2 station.Absolute, pace Pace) float64 {
	eta := 1 - deadBoost*Expansion(p1, p2) - restLoss - pace.suction()
	return min(1, max(0, eta))
}

// EfficiencyBand gives the relative half-width of the 90 % band of an assumed volumetric efficiency
// eta at a mean Expansion: of the losses, and of the dead volume, which counts the more the higher
// the ratio of outlet to inlet pressure. They have nothing to do with each other.
func EfficiencyBand(eta, expansion float64) float64 {
	suction := SuctionLoss(eta, expansion)
	dead := deadBand * max(0, expansion)
	return math.Hypot(dead, math.Hypot(restBand, suctionBand*suction)) / max(0.1, eta)
}

// SuctionLoss gives l1/t² of an assumed volumetric efficiency eta at a mean Expansion.
func SuctionLoss(eta, expansion float64) float64 {
	return max(0, 1-deadBoost*expansion-restLoss-eta)
}

// Expansion gives by how much of itself the dead volume's air grows from p2 to p1:
// (p2/p1)^(1/kappa) - 1.
func Expansion(p1, p2 station.Absolute) float64 { return math.Pow(float64(p2/p1), 1/Kappa) - 1 }

// Suction gives the time, s, over which a stroke draws in: the mean of the last ones, or that of
// full speed where none is known.
func (p Pace) Suction() float64 {
	if p.Mean <= 0 {
		return usualFull
	}
	return max(p.Mean, quickestFull)
}

// suction gives what the drop over the inlet check valve costs, share of the swept volume.
func (p Pace) suction() float64 {
	t := p.Suction()
	return suctionLoss / (t * t)
}
