package model

import "math"

// contraction is the discharge coefficient of a torn hose: that of a sharp edge at a high pressure
// ratio is 0.8 to 0.85, at a low one 0.6 (common practice, no source).
const contraction = 0.75

// Hole returns the conductance of a round hole of d m to the atmosphere: the choked flow of an ideal
// nozzle, times contraction,
//
//	C = contraction pi/4 d² sqrt(kappa/(R T_0)) (2/(kappa+1))^((kappa+1)/(2 (kappa-1)))/rho_0
//	b = (2/(kappa+1))^(kappa/(kappa-1)) = 0.528
func Hole(d float64) Nozzle {
	if d <= 0 {
		return Nozzle{}
	}
	const k = kappa + 1
	choked := math.Sqrt(kappa/(gasR*refT)) * math.Pow(2/k, k/(2*(kappa-1))) // s/m
	return Nozzle{C: contraction * math.Pi / 4 * d * d * choked / refRho, B: math.Pow(2/k, kappa/(kappa-1))}
}
