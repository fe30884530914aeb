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
