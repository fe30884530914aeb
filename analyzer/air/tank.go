package air

import (
	"math"

	"strokewise/analyzer/station"
)

// BlowdownTau gives the time constant, s, with which a tank of volume v (m³) at
// temperature t (K) empties through the sonic conductance c (m³/(s·Pa) at ANR):
//
//	tau = v/(c rho0 R sqrt(T0 t))
//
// with the density of ISO 6358.
func BlowdownTau(v, c, t float64) float64 {
	return v / (c * RhoANR * R * math.Sqrt(T0ANR*t))
}

// NozzleTau gives the same for an ideal nozzle of effective area a (m²) and a gas with r
// and kappa: v/(a ChokedFactor sqrt(r t)).
func NozzleTau(v, a, t, r, kappa float64) float64 {
	return v / (a * ChokedFactor(kappa) * math.Sqrt(r*t))
}

// IsothermalTime gives the time, s, of a choked discharge from p1 to p2 at constant
// temperature: tau ln(p1/p2).
func IsothermalTime(tau float64, p1, p2 station.Absolute) float64 {
	return tau * math.Log(float64(p1/p2))
}

// AdiabaticTime gives the time, s, of a choked discharge from p1 to p2 without heat from
// the wall, from
//
//	p/p1 = (1 + ((kappa-1)/2) t/tau)^(-2 kappa/(kappa-1))
func AdiabaticTime(tau float64, p1, p2 station.Absolute) float64 {
	return tau * 2 / (Kappa - 1) * (math.Pow(float64(p1/p2), (Kappa-1)/(2*Kappa)) - 1)
}

// AdiabaticDischarge gives the temperature, K, of the gas that stays in a tank whose
// pressure fell from p1 to p2 without heat from the wall: t (p2/p1)^((kappa-1)/kappa).
func AdiabaticDischarge(t float64, p1, p2 station.Absolute) float64 {
	return t * math.Pow(float64(p2/p1), (Kappa-1)/Kappa)
}

// AdiabaticCharge gives the temperature, K, of a tank filled from p1 (at t) to p2 out of a
// line of the same temperature without heat to the wall:
//
//	T2 = kappa t/(1 + (kappa - 1) p1/p2)
func AdiabaticCharge(t float64, p1, p2 station.Absolute) float64 {
	return Kappa * t / (1 + (Kappa-1)*float64(p1/p2))
}

// Settled gives the pressure of a closed tank at p and t once it has come to wall
// temperature tw.
func Settled(p station.Absolute, t, tw float64) station.Absolute {
	return station.Absolute(float64(p) * tw / t)
}

// Receiver gives the volume, m³, that feeds a net flow q (m³/s at ambient pressure, its
// temperature) for d seconds while falling from p1 to p2: q d p_amb/(p1-p2), isothermal.
func Receiver(q, d float64, p1, p2, ambient station.Absolute) float64 {
	return q * d * float64(ambient) / float64(p1-p2)
}

// BleedDown gives the mean flow, m³/s at ambient pressure, that a volume v (m³) loses
// while its pressure falls from p1 to p2 in d seconds, isothermal: v (p1-p2)/(d p_amb).
func BleedDown(v, d float64, p1, p2, ambient station.Absolute) float64 {
	return v * float64(p1-p2) / (d * float64(ambient))
}

// LoadShare gives the share of the time in which a source works, from a load/unload test
// with nothing drawn: the share of its capacity that leaks take, on/(on + off).
func LoadShare(on, off float64) float64 { return on / (on + off) }
