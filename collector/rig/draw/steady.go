package draw

import (
	"fmt"
	"math"
	"math/rand/v2"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// Steady returns a random station on a constant header: geometry, header, set, tank, demand and
// supply; every third one has a leak and nothing else to do.
func Steady(seed uint64, rate float64) rig.Spec {
	r := rand.New(rand.NewPCG(seed, 40))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	four := r.IntN(4) == 0
	bore := between(0.05, 0.1)
	g := model.Geometry{DriveBore: bore, BoostBore: bore, Rod: 0.25 * bore, Stroke: between(0.05, 0.1), DeadDrive: 0.08, DeadBoost: 0.07}
	if four {
		g = model.Quadrupling()
		g.DriveBore, g.BoostBore, g.Stroke = bore, bore/math.Sqrt(3), between(0.05, 0.1)
	}
	p := model.Default()
	size := g.BoostArea() * g.Stroke / (model.Doubling().BoostArea() * model.Doubling().Stroke)
	drive := g.DriveArea() * g.Stroke / (model.Doubling().DriveArea() * model.Doubling().Stroke)
	for _, n := range []*model.Nozzle{&p.Drive.Feed, &p.Drive.Exhaust} {
		n.C *= drive
	}
	for _, n := range []*model.Nozzle{&p.Check.Inlet, &p.Check.Outlet} {
		n.C *= size
	}
	for i := range p.Piston.Friction {
		p.Piston.Friction[i] *= bore / 0.08
	}
	p.Supply.Line.C *= between(0.7, 1.5) * (size + drive) / 2
	p.Supply.HeaderGauge = between(560e3, 700e3)
	set := p.Supply.HeaderGauge * between(1.45, 1.65)
	if four {
		set = p.Supply.HeaderGauge * between(2, 2.7)
	}
	p.Governor.SetGauge, p.Relief.SetGauge = set, set+250e3
	p.Regulator.SetGauge = 0.7 * set
	tank := between(10e-3, 50e-3)
	p.Tank.Volume = tank
	s := rig.Spec{
		Plate: station.Plate{Key: station.Key{Site: "random", Station: fmt.Sprint(seed)}, Set: station.Gauge(set), TankVolume: tank,
			Relief: station.Gauge(set + 250e3), Counts: station.CountsCycles, AirTemperature: p.Ambient},
		Geometry: g, Params: p, Outlet: math.NaN(), Seed: seed,
		Sensors: rig.Sensors{Rate: rate, Noise: 500, Step: 100, Inlet: true, Outlet: true, Counter: true},
		Rhythm:  rig.Rhythm{Flow: 7e-3 * size * between(0.5, 1), Period: between(8, 25), Share: between(0.2, 0.5), Vary: 0.3},
	}
	s.Plate.Bores(g.DriveBore, g.BoostBore, g.Rod, g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
	if seed%3 == 0 {
		s.Rhythm = rig.Rhythm{}
		s.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: 1.5e-9 * size * between(0.3, 1)}}
	}
	return s
}

// Hard returns a random station on a constant header as plants measure them: any sampling rate,
// any tank, noisy sensors of 12 bits, a clock that jitters, gaps.
func Hard(seed uint64) rig.Spec {
	r := rand.New(rand.NewPCG(seed, 77))
	rate := []float64{10, 20, 50, 100, 200}[seed%5]
	s := Steady(seed+1000, rate)
	for s.Faults != nil {
		seed += 1000
		s = Steady(seed+1000, rate)
	}
	v := 0.3 * math.Pow(500/0.3, r.Float64()) * 1e-3
	s.Plate.TankVolume, s.Params.Tank.Volume = v, v
	s.Sensors.Noise = []float64{100, 500, 1000, 2000}[r.IntN(4)]
	s.Sensors.Step = []float64{100, 1.6e6 / 4096}[r.IntN(2)]
	if v < 2e-3 { // what a small tank feeds does not pulse: it would be empty at once
		s.Rhythm = rig.Rhythm{Base: 0.5 * s.Rhythm.Flow}
	}
	s.Sensors.Jitter = []float64{0, 0.2}[r.IntN(2)]
	if r.IntN(3) == 0 {
		s.Sensors.Gaps = rig.Gaps{Every: 120, Lost: 6}
	}
	return s
}
