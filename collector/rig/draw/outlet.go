package draw

import (
	"math"

	"strokewise/collector/rig/model"
)

// stall returns where the forces balance at an inlet, Pa gauge: p1g (1 + A_d/A_b) - F/A_b.
func (d *drawer) stall(inlet float64) float64 {
	return inlet*d.ratio - d.Spec.Params.Piston.Friction[0]/d.Spec.Geometry.BoostArea()
}

// governor draws the set pressure, within reach, and how it is kept.
func (d *drawer) governor() {
	r, g := d.Rand, &d.Spec.Params.Governor
	set := d.setShare.even(r) * d.stall(lowest(&d.Spec.Params.Supply))
	h := &d.Spec.Params.Supply
	set = max(set, aboveHeader*(h.HeaderGauge+h.Header.Band/2))
	set = math.Round(set/5e3) * 5e3 // people turn to round figures
	*g = model.Governor{SetGauge: set, Hysteresis: hysteresis.even(r) * set, Lag: governorLag.log(r),
		Wander: setWander.even(r) * set, WanderLag: wanderLag.even(r)}
	d.Spec.Params.Seed = r.Uint64()
	if r.IntN(3) > 0 {
		g.Lag = 0
	}
	switch either(r, d.mechanics...) {
	case soft:
		g.Band, g.Least = softBand.even(r)*set, leastOpen.even(r)
	case throttles:
		g.Band, g.Least = throttleBand.even(r)*set, leastOpen.even(r)
		d.Spec.Params.Drive.Feed.C *= throttleFeed.even(r)
	case fixedRatio:
		*g = model.Governor{Without: true, SetGauge: d.stall(d.Spec.Params.Supply.HeaderGauge)}
	}
	if g.Band > 0 {
		g.Hysteresis = reopens.even(r) * g.Band
	}
}

// lagging shortens a lag in which the outlet would rise too far: by kappa p0/V times what the
// station delivers meanwhile.
func (d *drawer) lagging() {
	p := &d.Spec.Params
	rise := 1.4 * 100e3 * d.can.flow / (p.Tank.Volume + p.Port.Volume) // Pa/s
	p.Governor.Lag = min(p.Governor.Lag, overlag*p.Governor.SetGauge/rise)
}

// tanks draws the tank.
func (d *drawer) tanks() {
	r, t := d.Rand, &d.Spec.Params.Tank
	plate := d.tank.log(r)
	t.Volume = plate * (1 + piping.even(r))
	t.Thermal = tankThermal.even(r) * math.Cbrt(plate/10e-3)
	t.Wall, t.WallLag = wallHeat.even(r)*plate, wallLag.even(r)
	d.Spec.Plate.TankVolume = plate
}

// outletPort draws the space at the booster's outlet with a hose to the tank, and where p2 is
// measured.
func (d *drawer) outletPort() {
	r := d.Rand
	if r.Float64() >= d.port {
		return
	}
	d.Spec.Params.Port = model.Port{Volume: portVolume.log(r), Hose: model.Nozzle{C: hoseShare.log(r) * d.boost * model.DM3SBar, B: lineRatio.even(r)}}
}

// reliefValve draws the relief valve: its setting, how it opens, and a size that holds the pressure.
func (d *drawer) reliefValve() {
	r, p := d.Rand, &d.Spec.Params
	top := p.Governor.SetGauge
	set := math.Round(d.relief.even(r)*top/5e3) * 5e3
	v := &p.Relief
	*v = model.Relief{SetGauge: set, Over: reliefOver.even(r) * set}
	if r.Float64() < d.pops {
		v.Blowdown = blowdown.even(r)
	}
	v.Full = model.Nozzle{C: reliefFlow.even(r) * d.can.flow / (set + p.Atmosphere), B: 0.3}
}

// regulator draws the regulator in front of the consumers.
func (d *drawer) regulator() {
	r, v := d.Rand, &d.Spec.Params.Regulator
	v.SetGauge = regulatorSet.even(r) * d.Spec.Params.Governor.SetGauge
	v.Full.C *= 2 * d.boost
	if r.IntN(2) == 0 {
		v.Lag = regulatorSlow.log(r)
	}
}
