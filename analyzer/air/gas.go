// Package air holds the physics of a boost station: gas and flow laws, air per stroke,
// the highest outlet that the forces allow, pipes, stored energy, and the leak seen in the
// fall of a standing outlet. SI throughout, pressures absolute.
package air

import "strokewise/analyzer/station"

// Constants of dry air as an ideal gas.
const (
	R     = 287.05 // J/(kg K), dry air
	Kappa = 1.4    // ratio of specific heats
)

// P0ANR is the pressure of ANR.
const P0ANR = station.P0ANR

// More of ANR.
const (
	T0ANR = 293.15 // its temperature, K

	// RhoANR is the density of air at ANR used by ISO 6358, kg/m³ (from memory).
	RhoANR = 1.185
)
