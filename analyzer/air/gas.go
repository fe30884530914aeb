// Package air holds the physics of a boost station: gas and flow laws, air per stroke,
// the highest outlet that the forces allow, tanks that fill and empty, stored energy,
// and the leak seen in the fall of a standing outlet. SI throughout, pressures absolute.
package air

import "strokewise/analyzer/station"

// Constants of dry air as an ideal gas.
const (
	R     = 287.05 // J/(kg K), dry air
	Kappa = 1.4    // ratio of specific heats

	// RANR is the gas constant at 65 % relative humidity (ISO 6358; from memory).
	RANR = 288.0 // J/(kg K)
)

// Reference conditions: ANR is ISO 8778 (20 °C, 100 kPa, 65 % RH), normal is DIN 1343
// (0 °C, 101.325 kPa).
const (
	P0ANR    station.Absolute = 100e3
	T0ANR                     = 293.15
	P0Normal station.Absolute = 101325
	T0Normal                  = 273.15

	// RhoANR is the density of air at ANR used by ISO 6358, kg/m³ (from memory).
	RhoANR = 1.185
)

// Density gives the density of an ideal gas, kg/m³:
//
//	rho = p/(R T)
//
// with p in Pa absolute, the gas constant r in J/(kg K) and t in K.
func Density(p station.Absolute, r, t float64) float64 { return float64(p) / (r * t) }

// Volume converts a volume of gas v at (p, t) to the volume that the same gas fills at
// (p0, t0), by the ideal gas law:
//
//	v0 = v (p/p0) (t0/t)
func Volume(v float64, p station.Absolute, t float64, p0 station.Absolute, t0 float64) float64 {
	return v * float64(p/p0) * t0 / t
}

// MassANR gives the mass, kg, of a volume at ANR, m³, with the density of ISO 6358.
func MassANR(v float64) float64 { return v * RhoANR }
