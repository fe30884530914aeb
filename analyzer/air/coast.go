package air

import (
	"math"

	"strokewise/analyzer/station"
)

// Assumptions of the coast, none of which the traces show. The first two were set on a
// model that is fitted to recordings of an independent one; DEVELOPERS.md says what they
// are worth.
const (
	// wallHeat is the heat transfer from the air in a chamber to its wall, W/(m² K): some
	// tens for forced convection in small cylinders (from memory).
	wallHeat = 70.0
	// warmth is the exponent of p2/p1 in the temperature of compressed air, between
	// isothermal (0) and adiabatic (0.286).
	warmth = 0.2
	// chilled is the temperature of the drive air over that of the walls: it has expanded.
	chilled = 0.985
	// runOut is the part of the stroke that the piston still runs by what its own drag held
	// back in the drive chamber.
	runOut = 0.02
	// creeping is the speed, m/s, above which a piston counts as moving.
	creeping = 0.2e-3
	// settle is how long, s, it runs on beyond that.
	settle = 0.25
	// turn is how long, s, the piston moves after it has met its stop.
	turn = 0.5
)

// Coast is a piston that creeps on after the governor has closed. The air caught in the
// boost chamber was heated by compression and shrinks as it cools; the air caught in the
// drive chamber, chilled by its expansion, warms and pushes; a falling outlet gives way. The
// piston keeps the balance of forces
//
//	p_d A_d + p_1 A_b = p_atm A_d + p_b A_b,  p_b <= p_2
//
// and counts as moving until that takes less than 0.2 mm/s, or until it meets its stop. Air
// is caught, exchanges h A (T - T_wall) with the wall and is compressed adiabatically.
// No source: an own derivation. Fields are exported for snapshots only; SI units.
type Coast struct {
	Left         float64 // m to the stop
	Boost, Drive Caught
	P2           float64 // Pa absolute, at the end of the last step
}

// Caught is the air of a chamber.
type Caught struct {
	M float64 // p V/T, J/K
	T float64 // K
	V float64 // m³
}

func (c *Caught) pressure() float64 { return c.M * c.T / c.V }

// warm lets the air go towards the walls' temperature through ha, W/K, for dt seconds.
func (c *Caught) warm(ha, dt float64) {
	c.T += (walls - c.T) * min(1, ha*dt*(Kappa-1)/c.M)
}

// resize changes the volume adiabatically, by little.
func (c *Caught) resize(to float64) {
	c.T *= 1 + (Kappa-1)*(c.V-to)/to
	c.V = to
}

// walls is the temperature of the walls, K.
const walls = 293.15

// CoastFrom gives the coast of a piston of the plate that had the share left, 0..1, of its
// stroke before it when the governor closed at p1 and p2. It is false where the plate lacks
// stroke and volumes.
func CoastFrom(p *station.Plate, p1, p2 station.Absolute, left float64) (Coast, bool) {
	l := p.StrokeLen
	if !(l > 0 && p.SweptBoost > 0 && p.SweptDrive > 0 && p1 > 0 && p2 > 0) {
		return Coast{}, false
	}
	ab, ad := p.SweptBoost/l, p.SweptDrive/l
	amb := float64(p.AmbientPressure())
	left = min(1, max(0, left))
	c := Coast{Left: (left - runOut) * l, P2: float64(p2)}
	c.Boost = Caught{T: walls * math.Pow(float64(p2/p1), warmth), V: ab * l * (left + deadBoost)}
	c.Boost.M = float64(p2) * c.Boost.V / c.Boost.T
	c.Drive = Caught{T: walls * chilled, V: ad * l * (1 - left + deadDrive)}
	c.Drive.M = max(amb, amb+float64(p2-p1)*ab/ad) * c.Drive.V / c.Drive.T
	return c, true
}

// Step carries the coast on by dt seconds, at the end of which the inlet stands at p1 and
// the outlet at p2. It tells whether the piston still moves, and if not, for how long, s, it
// did within the step or goes on beyond it.
func (c *Coast) Step(p *station.Plate, p1, p2 station.Absolute, dt float64) (moves bool, last float64) {
	const most = 0.05
	n := math.Ceil(dt / most)
	h, slope := dt/n, (float64(p2)-c.P2)/n
	for i := range int(n) {
		c.P2 += slope
		dx := c.creep(p, float64(p1), h)
		at := float64(i+1) * h
		switch {
		case c.Left <= 0:
			return false, at + turn
		case dx < creeping*h:
			return false, at + settle
		}
	}
	return true, 0
}

// creep carries the piston on by dt seconds and gives by how much, m.
func (c *Coast) creep(p *station.Plate, p1, dt float64) float64 {
	l := p.StrokeLen
	ab, ad := p.SweptBoost/l, p.SweptDrive/l
	db, dd := math.Sqrt(4*ab/math.Pi), math.Sqrt(4*ad/math.Pi)
	c.Boost.warm(wallHeat*(2*ab+math.Pi*db*c.Boost.V/ab), dt)
	c.Drive.warm(wallHeat*(2*ad+math.Pi*dd*c.Drive.V/ad), dt)
	pd, pb := c.Drive.pressure(), c.Boost.pressure()
	force := (pd-float64(p.AmbientPressure()))*ad + p1*ab - min(pb, c.P2)*ab
	if force <= 0 {
		return 0
	}
	stiff := Kappa * pd * ad * ad / c.Drive.V
	if pb < c.P2 {
		stiff += Kappa * pb * ab * ab / c.Boost.V
	}
	dx := min(force/stiff, max(c.Left, 0))
	c.Left -= dx
	c.Drive.resize(c.Drive.V + dx*ad)
	c.Boost.resize(c.Boost.V - dx*ab)
	if over := c.Boost.pressure() / c.P2; over > 1 {
		c.Boost.M /= over // delivered
	}
	return dx
}
