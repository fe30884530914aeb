package model

import "math"

// Dry air, and the reference condition of litres ANR (ISO 8778: 20 °C, 100 kPa; taken as
// dry gas here, as in the recordings that the model is compared with).
const (
	gasR  = 287.05 // J/(kg K)
	kappa = 1.4
	cv    = gasR / (kappa - 1) // J/(kg K)
	cp    = cv + gasR          // J/(kg K)

	refT   = 293.15             // K
	refP   = 100e3              // Pa absolute
	refRho = refP / gasR / refT // kg/m³
)

// DM3SBar turns a sonic conductance in dm³/(s bar), as data sheets give it, into the
// m³/(s Pa) that Nozzle wants.
const DM3SBar = 1e-8

// Nozzle is anything narrow that air passes, by ISO 6358:
//
//	m' = C p_up rho_0 sqrt(T_0/T_up) psi(p_down/p_up)
//	psi(r) = 1 for r <= b, sqrt(1 - ((r-b)/(1-b))²) above
//
// The zero value is shut.
type Nozzle struct {
	C float64 // sonic conductance, m³/(s Pa)
	B float64 // critical pressure ratio, 0 <= B < 1
}

// flow returns kg/s from pUp at tUp to pDown (Pa absolute, K); 0 where pUp <= pDown.
func (n Nozzle) flow(pUp, pDown, tUp float64) float64 {
	if n.C <= 0 || pUp <= pDown {
		return 0
	}
	psi2 := 1.0
	if r := pDown / pUp; r > n.B {
		x := (r - n.B) / (1 - n.B)
		psi2 = 1 - x*x
	}
	return n.C * pUp * refRho * math.Sqrt(refT/tUp*psi2)
}

// Volume is air in a space: its mass, its internal energy and the space.
type Volume struct {
	M float64 // kg
	U float64 // J, U = M cv T
	V float64 // m³
}

// Fill returns a volume of v m³ holding air of p Pa absolute and t K.
func Fill(v, p, t float64) Volume { return Volume{M: p * v / (gasR * t), U: p * v / (kappa - 1), V: v} }

// Pressure returns Pa absolute.
func (v *Volume) Pressure() float64 { return (kappa - 1) * v.U / v.V }

// Temperature returns K.
func (v *Volume) Temperature() float64 { return v.U / (v.M * cv) }

// moved returns the kg that pass in dt seconds from pUp to pDown (Pa absolute) at tUp K,
// where a kg brings the two sides by stiff Pa closer. Near equal pressures, where the flow
// goes as the root of the drop, the root falls in a straight line, so that with
// z = stiff q0 dt/dp0
//
//	m = q0 dt (1 - z/4) for z < 2, dp0/stiff above
//
// No step, however long, carries a pair beyond equal pressure.
func (n Nozzle) moved(pUp, pDown, tUp, stiff, dt float64) float64 {
	m, dp := n.flow(pUp, pDown, tUp)*dt, pUp-pDown
	if z := stiff * m / dp; z < 2 {
		return m * (1 - z/4)
	}
	return dp / stiff
}

// pass lets air from one volume into another for dt seconds and returns the kg that passed.
// crack (Pa) is what a check valve's spring takes.
func pass(up, down *Volume, n Nozzle, crack, dt float64) float64 {
	pUp, pDown := up.Pressure()-crack, down.Pressure()
	if pUp <= pDown || n.C <= 0 {
		return 0
	}
	t := up.Temperature()
	m := n.moved(pUp, pDown, t, kappa*gasR*t*(up.V+down.V)/(up.V*down.V), dt)
	e := m * cp * t
	up.M -= m
	up.U -= e
	down.M += m
	down.U += e
	return m
}

// release lets air out of a volume into a space of constant pressure p for dt seconds and
// returns the kg that left.
func release(up *Volume, p float64, n Nozzle, dt float64) float64 {
	pUp := up.Pressure()
	if pUp <= p || n.C <= 0 {
		return 0
	}
	t := up.Temperature()
	m := n.moved(pUp, p, t, kappa*gasR*t/up.V, dt)
	up.take(m)
	return m
}

// admit lets air of p Pa absolute and t K into a volume for dt seconds and returns the kg
// that came.
func admit(down *Volume, p, t float64, n Nozzle, dt float64) float64 {
	pDown := down.Pressure()
	if p <= pDown || n.C <= 0 {
		return 0
	}
	m := n.moved(p, pDown, t, kappa*gasR*t/down.V, dt)
	down.M += m
	down.U += m * cp * t
	return m
}

// take removes m kg at the volume's temperature: dU = -m cp T.
func (v *Volume) take(m float64) { v.U -= m * kappa * v.U / v.M; v.M -= m }

// draw removes up to m kg, at most a hundredth of the content a call.
func (v *Volume) draw(m float64) float64 {
	m = min(m, v.M/100)
	v.take(m)
	return m
}

// resize moves the walls to space to, without heat: dU = -p dV at the middle of the move,
// exact to the second order in dV/V.
func (v *Volume) resize(to float64) {
	sum, d := v.V+to, (kappa-1)*(to-v.V)
	v.U *= (sum - d) / (sum + d)
	v.V = to
}

// warm exchanges heat with a wall of tWall K through g W/K for dt seconds, implicitly in
// the air's temperature, and returns the J that the air took.
func (v *Volume) warm(tWall, g, dt float64) float64 {
	c := v.M * cv
	q := dt * g * (tWall*c - v.U) / (c + dt*g)
	v.U += q
	return q
}
