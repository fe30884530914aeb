package air

import (
	"math"

	"strokewise/analyzer/station"
)

// DrawnRoughness is the roughness, m, of drawn tube and smooth hose (from memory).
const DrawnRoughness = 1.5e-6

// Viscosity is the dynamic viscosity of air at 20 °C, Pa s (from memory). It does not depend
// on the pressure.
const Viscosity = 18.2e-6

// Pipe is a straight line of round bore.
type Pipe struct {
	Bore      float64 // m
	Length    float64 // m
	Roughness float64 // m
	Loss      float64 // sum of loss coefficients of fittings, 1
}

// Haaland gives the Darcy friction factor of turbulent flow at a Reynolds number and relative
// roughness, explicitly:
//
//	1/sqrt(f) = -1.8 log10((rel/3.7)^1.11 + 6.9/Re)
//
// Source: Haaland 1983 (from memory), checked on published values.
func Haaland(re, rel float64) float64 {
	x := -1.8 * math.Log10(math.Pow(rel/3.7, 1.11)+6.9/re)
	return 1 / (x * x)
}

// Friction gives the Darcy friction factor: 64/Re of laminar flow up to Re 2300, above it
// Colebrook's
//
//	1/sqrt(f) = -2 log10(rel/3.7 + 2.51/(Re sqrt(f)))
//
// by iteration from Haaland. Between 2300 and 4000 it is a guess, as everything is there. NaN
// for Re <= 0.
func Friction(re, rel float64) float64 {
	switch {
	case !(re > 0):
		return math.NaN()
	case re < 2300:
		return 64 / re
	}
	x := 1 / math.Sqrt(Haaland(re, rel))
	for range 20 {
		x = -2 * math.Log10(rel/3.7+2.51*x/re)
	}
	return 1 / (x * x)
}

// Mass gives the mass flow, kg/s, of isothermal flow of a gas with constant r at t K
// through a pipe of Darcy friction factor f, from up to down:
//
//	m² = A² (up² - down²)/(r t (f L/D + K + 2 ln(up/down)))
//
// The last term is the acceleration. Below the down at which the flow would be greatest it
// stays there (choked). Zero where down is not below up. Source: any text book on
// compressible flow in pipes (from memory), checked on published values.
func (p Pipe) Mass(f float64, up, down station.Absolute, t, r float64) float64 {
	if down >= up || up <= 0 || p.Bore <= 0 {
		return 0
	}
	area := math.Pi / 4 * p.Bore * p.Bore
	u, loss := float64(up), f*p.Length/p.Bore+p.Loss
	flow := func(d float64) float64 {
		return area * math.Sqrt((u*u-d*d)/(r*t*(loss+2*math.Log(u/d))))
	}
	// dm/dd = 0 at (u/d)² - 1 = loss + 2 ln(u/d), s = u/d
	s := math.Sqrt(1 + loss)
	for range 50 {
		s = math.Sqrt(1 + max(0, loss) + 2*math.Log(s))
	}
	return flow(max(float64(down), u/s))
}

// Flow gives the flow of air at t K from up to down, m³/s at ANR, with Friction of the flow
// itself.
func (p Pipe) Flow(up, down station.Absolute, t float64) float64 {
	f := 0.02
	m := 0.0
	for range 12 {
		m = p.Mass(f, up, down, t, R)
		if m <= 0 {
			return 0
		}
		f = Friction(4*m/(math.Pi*p.Bore*Viscosity), p.Roughness/p.Bore)
	}
	return m / RhoANR
}

// Conductance gives the sonic conductance C, m³/(s·Pa), of ISO 6358 with critical ratio b
// that passes as much as the pipe from up to down.
func (p Pipe) Conductance(up, down station.Absolute, t, b float64) float64 {
	k := FlowFactor(float64(down/up), b)
	if k <= 0 {
		return 0
	}
	return p.Flow(up, down, t) / (float64(up) * math.Sqrt(T0ANR/t) * k)
}

// BoreFor gives the bore, m, with which the pipe (its Bore is not looked at) passes q, m³/s
// at ANR, from up to down; 0 where none up to half a metre does.
func (p Pipe) BoreFor(q float64, up, down station.Absolute, t float64) float64 {
	low, high := 1e-4, 0.5
	if p.Bore = high; !(q > 0) || p.Flow(up, down, t) < q {
		return 0
	}
	for range 60 {
		p.Bore = (low + high) / 2
		if p.Flow(up, down, t) < q {
			low = p.Bore
		} else {
			high = p.Bore
		}
	}
	return high
}
