package draw

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// sensing draws the sensors, and what the station's user knows.
func (d *drawer) sensing() {
	r, s := d.Rand, &d.Spec
	s.Seed = d.seed
	s.Params.SensorLag = sensorLag.log(r)
	s.Sensors = rig.Sensors{Rate: either(r, d.rates...), Noise: d.noise.log(r), Step: either(r, resolutions...), Inlet: true, Outlet: true, Counter: true,
		Jitter: jitter.even(r)}
	if r.Float64() < d.gaps {
		s.Sensors.Gaps = rig.Gaps{Every: 120 + 60*r.Int64N(8), Lost: 2 + r.Int64N(7)}
	}
	s.Faults = append(s.Faults, rig.Fault{Kind: rig.InletOffset, Level: sensorOff.even(r)}, rig.Fault{Kind: rig.SensorOffset, Level: sensorOff.even(r)})
	d.plate()
}

// plate fills in what the user knows: name plate, set, relief valve, tank, what is counted and where
// the outlet is measured.
func (d *drawer) plate() {
	s := &d.Spec
	g, p := &s.Geometry, &s.Plate
	p.Bores(g.DriveBore, g.BoostBore, g.Rod, g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
	p.Counts = either(d.Rand, station.CountsCycles, station.CountsCycles, station.CountsStrokes)
	p.Relief = station.Gauge(s.Params.Relief.SetGauge)
	p.TankPS = station.Gauge(math.Ceil(1.1*s.Params.Relief.SetGauge/50e3) * 50e3)
	p.RegulatorSet = station.Gauge(s.Params.Regulator.SetGauge)
	if !s.Params.Governor.Without {
		p.Set = station.Gauge(s.Params.Governor.SetGauge)
	}
	if s.Params.Port.Volume > 0 {
		p.Sensor = station.AtBooster
	}
}

// fillable is the longest first fill, s, of a station that starts empty.
const fillable = 240

// start draws whether the station is first seen filling, where that does not take too long.
func (d *drawer) start() {
	p := &d.Spec.Params
	d.Spec.Outlet = math.NaN()
	fill := p.Tank.Volume * p.Governor.SetGauge / 100e3 / d.can.flow
	if d.Float64() < d.empty && fill < fillable {
		d.Spec.Outlet = startEmpty.even(d.Rand) * p.Governor.SetGauge
	}
	if p.Governor.Without && math.IsNaN(d.Spec.Outlet) {
		d.Spec.Outlet = triedAt * p.Governor.SetGauge
	}
}
