package air

import (
	"math"

	"strokewise/analyzer/station"
)

// StoredEnergy gives the energy, J, that a volume v (m³) at p sets free by isentropic
// expansion to ambient:
//
//	E = p V/(kappa-1) (1 - (p_amb/p)^((kappa-1)/kappa))
//
// Zero at or below ambient. Brode's convention gives 1.8 times as much at 10 bar.
func StoredEnergy(p, ambient station.Absolute, v float64) float64 {
	if p <= ambient || v <= 0 {
		return 0
	}
	return float64(p) * v / (Kappa - 1) * (1 - math.Pow(float64(ambient/p), (Kappa-1)/Kappa))
}

// StoredEnergyBrode gives Brode's convention, J: (p - p_amb) V/(kappa-1).
func StoredEnergyBrode(p, ambient station.Absolute, v float64) float64 {
	if p <= ambient || v <= 0 {
		return 0
	}
	return float64(p-ambient) * v / (Kappa - 1)
}

// StoredEnergyIsothermal gives the work of an isothermal expansion, J: p V ln(p/p_amb).
func StoredEnergyIsothermal(p, ambient station.Absolute, v float64) float64 {
	if p <= ambient || v <= 0 {
		return 0
	}
	return float64(p) * v * math.Log(float64(p/ambient))
}

// Availability gives the most work, J, that the surroundings at ambient pressure and the
// same temperature let one gain: p V (ln(p/p_amb) - 1 + p_amb/p).
func Availability(p, ambient station.Absolute, v float64) float64 {
	if p <= ambient || v <= 0 {
		return 0
	}
	x := float64(p / ambient)
	return float64(p) * v * (math.Log(x) - 1 + 1/x)
}

// IsothermalWork gives the energy, J/m³ of free air at p1, of isothermal compression from
// p1 to p2: p1 ln(p2/p1).
func IsothermalWork(p1, p2 station.Absolute) float64 {
	return float64(p1) * math.Log(float64(p2/p1))
}

// AdiabaticWork gives the energy, J/m³ of free air at p1, of adiabatic compression in n
// equal stages with perfect cooling between them:
//
//	n p1 kappa/(kappa-1) ((p2/p1)^((kappa-1)/(n kappa)) - 1)
func AdiabaticWork(p1, p2 station.Absolute, n int) float64 {
	e := (Kappa - 1) / Kappa
	return float64(n) * float64(p1) / e * (math.Pow(float64(p2/p1), e/float64(n)) - 1)
}
