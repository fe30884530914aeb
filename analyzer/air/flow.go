package air

import (
	"math"

	"strokewise/analyzer/station"
)

// linearZone is the pressure ratio above which the flow is taken as proportional to the
// pressure difference: the ISO 6358 curve has an infinite slope at 1, which no solver
// likes (known modelling practice).
const linearZone = 0.999

// Conductance is what lets air through something narrow (ISO 6358): the sonic
// conductance C, m³/(s·Pa) at ANR, and the critical pressure ratio B, 1.
type Conductance struct{ C, B float64 }

// Flow gives the flow from up to down, m³/s at ANR, with the upstream temperature t, K:
//
//	q = C up sqrt(T0/t)                                      down/up <= b   (choked)
//	q = C up sqrt(T0/t) sqrt(1 - ((down/up - b)/(1 - b))²)   otherwise
//
// Zero where down is not below up. Source: ISO 6358.
func (g Conductance) Flow(up, down station.Absolute, t float64) float64 {
	if up <= 0 || down >= up {
		return 0
	}
	return g.C * float64(up) * math.Sqrt(T0ANR/t) * FlowFactor(float64(down/up), g.B)
}

// FlowFactor gives the share of the choked flow at the pressure ratio r = down/up, 0..1.
func FlowFactor(r, b float64) float64 {
	switch {
	case r >= 1:
		return 0
	case r <= b:
		return 1
	case r > linearZone:
		return FlowFactor(linearZone, b) * (1 - r) / (1 - linearZone)
	}
	y := (r - b) / (1 - b)
	return math.Sqrt(1 - y*y)
}

// ChokedFactor gives the mass-flow parameter of choked flow, m sqrt(R T)/(A p):
//
//	sqrt(kappa) (2/(kappa+1))^((kappa+1)/(2 (kappa-1)))
func ChokedFactor(kappa float64) float64 {
	return math.Sqrt(kappa) * math.Pow(2/(kappa+1), (kappa+1)/(2*(kappa-1)))
}

// NozzleConductance gives the sonic conductance, m³/(s·Pa) at ANR, of an ideal nozzle
// with effective area a = cd A, m²: a ChokedFactor/(rho0 sqrt(R T0)), with the density
// of ISO 6358.
func NozzleConductance(a float64) float64 {
	return a * ChokedFactor(Kappa) / (RhoANR * math.Sqrt(R*T0ANR))
}

// EquivalentHole gives the diameter, m, of the round hole with discharge coefficient cd
// that has sonic conductance c, m³/(s·Pa): what people picture of a leak.
func EquivalentHole(c, cd float64) float64 {
	if c <= 0 || cd <= 0 {
		return 0
	}
	return math.Sqrt(c / NozzleConductance(1) / cd * 4 / math.Pi)
}
