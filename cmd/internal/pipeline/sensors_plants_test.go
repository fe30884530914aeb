package pipeline_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
)

// surroundings are what a plant does to sound sensors.
type surroundings struct {
	header float64 // Pa gauge, the top of the compressor's band
	band   float64 // Pa
	up     float64 // s in which the header rises by the band
	down   float64 // s in which it falls
	hose   float64 // Pa by which the hose to the tank raises a sensor at the port while the piston moves
	jet    float64 // Pa by which a consumer that takes its air before the hose lowers that sensor
	jets   float64 // s from one jet to the next; each lasts a fifth of it
}

// plantStation returns a random station with a small hose before the booster, in random surroundings:
// header bands of 2 to 14 % that slew by 5 kPa/s at most, as compressors' load and unload makes them
// (common practice, no source), 0.1 to 0.5 L of hose, a hose to the tank of 2 to 15 kPa.
func plantStation(seed uint64) (rig.Spec, surroundings) {
	r := rand.New(rand.NewPCG(seed, 0x9a))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	s := draw.Steady(3*seed+1, []float64{10, 20, 50, 100}[r.IntN(4)])
	s.Faults = nil
	s.Params.Supply.Volume = between(0.1e-3, 0.5e-3)
	s.Params.Supply.Line.C *= between(0.5, 1)
	s.Sensors.Noise = []float64{50, 300, 800, 2000}[r.IntN(4)]
	s.Sensors.Step = []float64{100, 1.6e6 / 4096}[r.IntN(2)]
	top := s.Params.Supply.HeaderGauge
	x := surroundings{header: top, band: top * between(0.02, 0.14), hose: between(2e3, 15e3), jet: between(5e3, 20e3), jets: between(20, 90)}
	x.up, x.down = max(between(10, 150), x.band/5e3), max(between(10, 150), x.band/5e3)
	return s, x
}

// at returns the header's pressure, Pa gauge, at some seconds.
func (x *surroundings) at(t float64) float64 {
	phase := math.Mod(t, x.up+x.down)
	if phase < x.down {
		return x.header - x.band*phase/x.down
	}
	return x.header - x.band*(1-(phase-x.down)/x.up)
}

// port moves the outlet's readings of a second as a sensor at the booster's port sees them.
func (x *surroundings) port(v *rig.Station, b *station.Block, t float64) {
	by := 0.0
	if _, stands := v.StandsSince(); !stands {
		by += x.hose
	}
	if math.Mod(t, x.jets) < x.jets/5 {
		by -= x.jet
	}
	for i := range b.Values {
		b.Values[i] += by
	}
}

// playPlant plays a station in its surroundings. tamper changes the blocks of a second before they are sent.
func playPlant(s rig.Spec, x surroundings, seconds int64, tamper func(t float64, v *rig.Station, blocks []station.Block), each func(*pipeline.Unit)) (*pipeline.Unit, *rig.Station) {
	v, u := rig.New(s, rigStart, 0), pipeline.New(s.Plate, "test")
	for i := range seconds {
		t, at := float64(i), rigStart.Add((i+1)*station.Second)
		if x.header > 0 {
			v.Params.Supply.HeaderGauge = x.at(t)
		}
		blocks := v.Until(at)
		for k := range blocks {
			if blocks[k].Channel == station.OutletPressure && x.header > 0 {
				x.port(v, &blocks[k], t)
			}
		}
		if tamper != nil {
			tamper(t, v, blocks)
		}
		u.Samples(blocks, at)
		if each != nil {
			each(u)
		}
	}
	return u, v
}

// Sound sensors of stations with a small hose before the booster, a header that moves, the outlet
// read at the port and consumers that step are never doubted. Source of the truth: collector/rig, whose
// sensors have no fault here.
func TestSoundSensorsOfPlants(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for seed := range uint64(16) {
		s, x := plantStation(seed)
		s.Sensors.Counter = seed%2 == 0
		said := map[string]int{}
		playPlant(s, x, 1800, nil, func(u *pipeline.Unit) {
			if u.Stepped() && u.Status.State == station.Blind && u.Status.At > rigStart.Add(5*station.Second) {
				said[u.Status.StateReason.String()]++
			}
		})
		for why, n := range said {
			t.Errorf("station %d (%+v), %g Hz, noise %g Pa: blind for %d s: %s", seed, x, s.Sensors.Rate, s.Sensors.Noise, n, why)
		}
	}
}

// Sensors without noise beyond their resolution read the same whenever a steady header is at rest: they are not
// saturated, nor frozen. Source of the truth: collector/rig.
func TestQuietSensorsOnASteadyHeader(t *testing.T) {
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for seed := range uint64(6) {
		for _, step := range []float64{100, 1.6e6 / 4096, 1.6e6 / 1024} { // 0.1 kPa, 12 and 10 bits of 1.6 MPa
			s := draw.Steady(seed, []float64{100, 20, 10}[seed%3])
			s.Sensors.Noise, s.Sensors.Step = 5, step
			said := map[string]int{}
			playPlant(s, surroundings{}, 900, nil, func(u *pipeline.Unit) {
				if u.Stepped() && u.Status.State == station.Blind && u.Status.At > rigStart.Add(5*station.Second) {
					said[u.Status.StateReason.String()]++
				}
			})
			if len(said) > 0 {
				t.Errorf("station %d, resolution %.0f Pa: %v", seed, step, said)
			}
		}
	}
}
