package pipeline_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// tightWays are what tight stations do: how their tank came to be warm, and what else moves.
var tightWays = []string{"first fill", "after work", "closed after work", "pulses go on", "header falls"}

// tight gives a random tight station: tanks of 0.3 to 500 L, air that takes 10 to 90 s to cool, sensors of
// 12 bits over 1600 kPa, 10 to 100 samples a second, up to 2 kPa of noise.
func tight(seed uint64, way string) rig.Spec {
	r := rand.New(rand.NewPCG(seed, 41))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	litres := 0.3 * math.Pow(500/0.3, r.Float64())
	s := leaky(litres, 0, math.Exp(between(math.Log(100), math.Log(2000))), 240, seed)
	s.Sensors.Step, s.Sensors.Rate = 1600e3/4096, []float64{10, 20, 100}[r.IntN(3)]
	s.Params.Tank.Thermal = between(10, 90)
	s.Params.Tank.Wall *= between(0.7, 1.5)
	switch way {
	case "first fill":
		s.Outlet, s.Rhythm = 0, rig.Rhythm{}
	case "closed after work":
		s.Rhythm.CloseUp = true
	case "pulses go on":
		s.Rhythm = rig.Rhythm{Flow: between(2e-3, 6e-3), Period: between(8, 60), Share: between(0.1, 0.4), Vary: 0.3}
	case "header falls":
		s.Faults = []rig.Fault{{Kind: rig.HeaderLow, Level: between(20e3, 60e3), From: rigStart.Add(300 * station.Second), Grow: 600 * station.Second}}
	}
	return s
}

// jittered moves the beginning of each packet by up to a fifth of a sample.
func jittered(blocks []station.Block, r *rand.Rand, rate float64) []station.Block {
	off := int64((r.Float64() - 0.5) * 0.4e9 / rate)
	for i := range blocks {
		blocks[i].Start = blocks[i].Start.Add(off)
	}
	return blocks
}

// No tight station is said to leak, whatever its size and its sensors; where it is quiet it is
// known to be tight, and the upper bound of the band lies above zero. Limit: the larger of 0.5 L/min
// ANR and 0.1 % of the content a minute, at every second, not only after three thermal time constants.
func TestTightStationsOfAllSizes(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	known, quiet, wrong := 0, 0, 0
	for _, way := range tightWays {
		for k := range uint64(12) {
			s := tight(k+100, way)
			r := rand.New(rand.NewPCG(k, 42))
			limit := math.Max(0.5, s.Plate.TankVolume*11) / 60e3
			v, u, worst := rig.New(s, rigStart, 0), pipeline.New(s.Plate, "test"), 0.0
			how := ""
			for sec := range int64(1200) {
				at := rigStart.Add((sec + 1) * station.Second)
				u.Samples(jittered(v.Until(at), r, s.Sensors.Rate), at)
				if e := &u.Status.Estimates[station.LeakFlow]; e.Known() && e.Value > worst {
					worst, how = e.Value, fmt.Sprintf("after %d s by %s", sec, e.Method)
				}
			}
			if worst > limit {
				wrong++
				t.Errorf("%s, seed %d, %.1f L, %g Hz, noise %.0f Pa, tau %.0f s: a leak of %.2f L/min %s, limit %.2f", way, k, 1e3*s.Plate.TankVolume,
					s.Sensors.Rate, s.Sensors.Noise, s.Params.Tank.Thermal, 60e3*worst, how, 60e3*limit)
			}
			if way != "pulses go on" {
				quiet++
				if u.Status.Estimates[station.LeakFlow].Known() {
					known++
				}
			}
		}
	}
	t.Logf("%d of %d false, %d of %d quiet ones known to be tight", wrong, 12*len(tightWays), known, quiet)
	if 10*known < 8*quiet {
		t.Errorf("only %d of %d quiet ones known to be tight", known, quiet)
	}
}
