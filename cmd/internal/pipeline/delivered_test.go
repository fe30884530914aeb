package pipeline_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// ratioed gives a random station with demand of area ratio 1, 1.5, 2, 3 or 4, sampled at 10, 20 or
// 50 Hz, with friction from half to twice the usual, feeds from 0.7 to 1.4, check valves from 0.6 to
// 1.4 and dead volumes of 3 to 12 %.
func ratioed(seed uint64) rig.Spec {
	r := rand.New(rand.NewPCG(seed, 4711))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	ratio := []float64{1, 1.5, 2, 3, 4}[seed%5]
	bore := between(0.05, 0.1)
	g := model.Geometry{DriveBore: bore, BoostBore: bore / math.Sqrt(ratio), Stroke: between(0.05, 0.1),
		FullFaceDrive: true, FullFaceBoost: true, DeadDrive: between(0.04, 0.12), DeadBoost: between(0.03, 0.12)}
	if ratio == 1 {
		g.Rod, g.FullFaceDrive, g.FullFaceBoost = 0.25*bore, false, false
	}
	like := model.Doubling()
	size := g.BoostArea() * g.Stroke / (like.BoostArea() * like.Stroke)
	drive := g.DriveArea() * g.Stroke / (like.DriveArea() * like.Stroke)
	p := model.Default()
	feeds, checks, friction := between(0.7, 1.4), between(0.6, 1.4), between(0.5, 2)
	p.Drive.Feed.C *= drive * feeds
	p.Drive.Exhaust.C *= drive * feeds
	p.Check.Inlet.C *= size * checks
	p.Check.Outlet.C *= size * checks
	for i := range p.Piston.Friction {
		p.Piston.Friction[i] *= friction * bore / 0.08
	}
	p.Supply.Line.C *= between(0.7, 1.5) * (size + drive) / 2
	p.Supply.HeaderGauge = between(560e3, 700e3)
	set := p.Supply.HeaderGauge * (1 + ratio) * between(0.6, 0.85)
	p.Governor.SetGauge, p.Relief.SetGauge, p.Regulator.SetGauge = set, set+250e3, 0.7*set
	p.Tank.Volume = between(10e-3, 50e-3)
	s := quiet(seed)
	s.Faults, s.Rhythm = nil, rig.Rhythm{Flow: 7e-3 * size * between(0.5, 1), Period: between(8, 25), Share: between(0.2, 0.5), Vary: 0.3}
	s.Geometry, s.Params = g, p
	s.Plate.Set, s.Plate.Relief, s.Plate.TankVolume = station.Gauge(set), station.Gauge(set+250e3), p.Tank.Volume
	s.Plate.Bores(g.DriveBore, g.BoostBore, g.Rod, g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
	s.Sensors.Rate = []float64{10, 20, 50}[seed%3]
	return s
}

// spread are the errors of many stations, per cent, and how many bands held the truth.
type spread struct {
	sync.Mutex
	offs []float64
	held int
}

func (s *spread) add(got, low, high, truth float64) {
	s.Lock()
	defer s.Unlock()
	s.offs = append(s.offs, 100*math.Abs(got/truth-1))
	if truth >= low && truth <= high {
		s.held++
	}
}

// sum gives median, 90th percentile and worst.
func (s *spread) sum() (mid, most, worst float64) {
	slices.Sort(s.offs)
	n := len(s.offs)
	return s.offs[n/2], s.offs[n*9/10], s.offs[n-1]
}

// stations runs f on the seeds below n, two at a time.
func stations(n uint64, f func(seed uint64)) {
	var wait sync.WaitGroup
	todo := make(chan uint64)
	for range 2 {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for seed := range todo {
				f(seed)
			}
		}()
	}
	for seed := range n {
		todo <- seed
	}
	close(todo)
	wait.Wait()
}

// A hundred random stations of area ratios 1 to 4, ten minutes each, without any quiet, by plate data
// and the pace of strokes alone. 6 % of delivered air is not met at worst: a dead volume of 3 to 12 %
// that nobody knows is by itself 3 % of it at p2/p1 = 2 and 7 % at 3.5. The truth lies within the
// 90 % bands on 85 to 95. Exhaust within 25 %. Source of the truth: collector/rig/model.
func TestAirOfAnyRatio(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("arithmetic of a hundred stations: run without the race detector by make test's second step")
	}
	var delivered, inlet, exhaust spread
	by := map[float64]*spread{}
	for _, ratio := range []float64{1, 1.5, 2, 3, 4} {
		by[ratio] = &spread{}
	}
	stations(100, func(seed uint64) {
		s := ratioed(seed)
		b := newBench(s)
		b.run(600)
		b.u.Flush()
		truth, got := b.stretch()
		delivered.add(got.delivered, got.delLow, got.delHigh, truth.Delivered)
		inlet.add(got.inlet, got.low, got.high, truth.Inlet)
		exhaust.add(got.exhaust, 0, 0, truth.Exhaust)
		by[math.Round(2*s.Plate.AreaRatio)/2].add(got.delivered, got.delLow, got.delHigh, truth.Delivered)
	})
	for _, ratio := range []float64{1, 1.5, 2, 3, 4} {
		mid, most, worst := by[ratio].sum()
		t.Logf("ratio %g: delivered off by %.1f %% (median), %.1f (90th percentile), %.1f (worst), in band %d of %d", ratio, mid, most, worst, by[ratio].held, len(by[ratio].offs))
	}
	mid, most, worst := delivered.sum()
	t.Logf("delivered off by %.1f %%, %.1f, %.1f; in band %d of 100", mid, most, worst, delivered.held)
	if mid > 3 || most > 6.5 || worst > 10 || delivered.held < 85 || delivered.held > 95 {
		t.Errorf("delivered air off by more than 3, 6.5 and 10 %%, or its band does not hold what it says")
	}
	mid, most, worst = inlet.sum()
	t.Logf("inlet off by %.1f %%, %.1f, %.1f; in band %d of 100", mid, most, worst, inlet.held)
	if worst > 15 || inlet.held < 85 || inlet.held > 95 {
		t.Errorf("inlet air off by more than 15 %%, or its band does not hold what it says")
	}
	if mid, most, worst = exhaust.sum(); worst > 25 {
		t.Errorf("exhaust off by %.1f %% at worst", worst)
	}
	t.Logf("exhaust off by %.1f %%, %.1f, %.1f", mid, most, worst)
}

// Sixteen such stations with breaks of 36 minutes in each hour, in which a small leak alone draws: the
// hour after two that taught what a stroke delivers. The tank's volume is known within 5 %, the strokes
// of a break are 13 to 340, counted in cycles. 3 % is met in the median only; 7.3 % at
// the ninth decile and 11.1 at worst are reached, 4.4 and 4.5 before the header was followed. Part of it
// is noise of the outlet that is taken for work and ends a quiet standing time.
func TestAirOfAnyRatioAfterQuiet(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("arithmetic of many hours: run without the race detector by make test's second step")
	}
	var delivered spread
	learned := 0
	stations(16, func(seed uint64) {
		s := ratioed(seed)
		s.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: 1e-9 * s.Params.Tank.Volume * 1101e3 / (s.Params.Governor.SetGauge + 101e3)}}
		s.Rhythm.Shifts = quiet(seed).Rhythm.Shifts
		b := newBench(s)
		b.run(2 * 3600)
		b.stretch()
		b.run(3600)
		b.u.Flush()
		truth, got := b.stretch()
		delivered.add(got.delivered, got.delLow, got.delHigh, truth.Delivered)
		eff := b.estimate(station.VolumetricEfficiency)
		delivered.Lock()
		if eff.Known() {
			learned++
		}
		delivered.Unlock()
		t.Logf("%d ratio %.1f: delivered %+.1f %% (band %.1f), efficiency %.3f %s", seed, s.Plate.AreaRatio, 100*(got.delivered/truth.Delivered-1), 50*(got.delHigh-got.delLow)/got.delivered, eff.Value, eff.Reason)
	})
	mid, most, worst := delivered.sum()
	t.Logf("delivered off by %.1f %%, %.1f, %.1f; in band %d of 16; learned on %d", mid, most, worst, delivered.held, learned)
	if mid > 4.2 || most > 8.5 || worst > 11.5 || delivered.held < 12 || learned < 13 {
		t.Errorf("delivered air off by more than 4.2, 8.5 and 11.5 %%, in band on %d, learned on %d", delivered.held, learned)
	}
}
