package draw

import (
	"math"

	"strokewise/collector/rig/model"
)

// cylinder draws bores, stroke and what belongs to the cylinder, in proportion to the default one.
func (d *drawer) cylinder() {
	r, p := d.Rand, &d.Spec.Params
	*p = model.Default()
	b := bore.even(r)
	g := model.Geometry{DriveBore: b, BoostBore: b, Rod: rodOfBore.even(r) * b, Stroke: strokeOfBore.even(r) * b,
		DeadDrive: deadDrive.even(r), DeadBoost: deadBoost.even(r)}
	switch over := r.IntN(10); {
	case over < 2 && d.odd:
		g.FullFaceDrive, g.FullFaceBoost = true, true
		g.BoostBore = b / math.Sqrt(anyRatio.even(r)-1)
	case over < 4:
		g.FullFaceDrive, g.FullFaceBoost = true, true
		g.BoostBore = b / math.Sqrt(3)
	default:
		g.FullFaceDrive = r.IntN(2) == 0
	}
	if g.BoostBore > b*1.2 { // a ratio below 1.7 has a large boost piston: the drive's bore is then drawn
		g.DriveBore, g.BoostBore = b*b/g.BoostBore, b
	}
	was := model.Doubling()
	d.Spec.Geometry, d.ratio = g, g.Ratio()
	d.boost = g.BoostArea() * g.Stroke / (was.BoostArea() * was.Stroke)
	d.drive = g.DriveArea() * g.Stroke / (was.DriveArea() * was.Stroke)
	quick := speed.even(r)
	p.Drive.Feed.C *= d.drive * quick
	p.Drive.Exhaust.C *= d.drive * quick
	p.Check.Inlet.C *= d.boost * quick
	p.Check.Outlet.C *= d.boost * quick
	p.Drive.Switch, p.Drive.Wall = switching.even(r), chamberWall.even(r)
	f := seals.even(r) * g.DriveArea()
	p.Piston.Friction = [2]float64{f, f}
	p.Piston.Mass *= math.Pow(b/0.08, 3)
	p.Piston.Viscous *= math.Pow(b/0.08, 2)
}

// unevenness makes the two sides differ.
func (d *drawer) unevenness() {
	p, g := &d.Spec.Params, &d.Spec.Geometry
	for _, x := range []*[2]float64{&p.Uneven.Feed, &p.Uneven.Exhaust, &p.Uneven.Inlet, &p.Uneven.Outlet, &g.DeadMore} {
		x[d.IntN(2)] = d.differs()
	}
	p.Piston.Friction[d.IntN(2)] *= 1 + d.differs()
}

// differs draws by how much a side differs, up or down.
func (d *drawer) differs() float64 { return d.sides.even(d.Rand) * either(d.Rand, -1.0, 1.0) }

// climateOf draws temperature and pressure of the surroundings. Header and hall are alike.
func (d *drawer) climateOf() {
	p := &d.Spec.Params
	p.Ambient, p.Atmosphere = either(d.Rand, d.climates...).even(d.Rand), atmosphere.even(d.Rand)
}

// icing lets the exhaust ice up.
func (d *drawer) icing() {
	if d.ices {
		d.Spec.Params.Drive.Ice = model.Ice{Depth: iceDepth.even(d.Rand), Air: iceAir.log(d.Rand) * d.drive, Thaw: iceThaw.log(d.Rand)}
	}
}

// boosters adds a second one on the same line, which is as wide as two need.
func (d *drawer) boosters() {
	if d.second {
		d.Spec.Params.Second = model.Second{On: true, SetAbove: secondSet.even(d.Rand) * either(d.Rand, -1.0, 1.0)}
		d.Spec.Params.Supply.Line.C *= 2
	}
}
