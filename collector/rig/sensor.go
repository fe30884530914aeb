package rig

import (
	"math"
	"math/rand/v2"

	"strokewise/analyzer/station"
)

// Sensors say how a station is measured.
type Sensors struct {
	Rate    float64 // pressure samples a second
	Noise   float64 // Pa rms of the pressure sensors
	Step    float64 // Pa, their resolution
	Inlet   bool    // has an inlet sensor
	Outlet  bool
	Counter bool
	Valve   bool // the supply valve's signal is published
	Counts  station.Counts
	CountHz float64 // readings of the counter a second, 0: as the pressures
	Flow    bool    // a flow meter sits at the inlet: a reading a second, m³/s ANR
}

// sensors turn the machine's true state into readings.
type sensors struct {
	Sensors
	rng    *rand.Rand
	held   [2]float64 // readings that stand still
	frozen bool
	count  float64 // what the counter shows
	seen   int64   // true count at the last reading
	reset  bool
}

func newSensors(s Sensors, seed uint64) sensors {
	return sensors{Sensors: s, rng: rand.New(rand.NewPCG(seed, 0x5e))}
}

// pressures gives the readings of inlet and outlet, Pa gauge; false: lost on the way.
func (s *sensors) pressures(p1, p2 float64, f *levels) (in, out float64, ok bool) {
	noise := s.Noise + f[SensorNoise]
	in, out = s.read(p1, noise), s.read(p2+f[SensorOffset], noise)
	if f[SensorsSwapped] != 0 {
		in, out = out, in
	}
	if k := f[WrongUnit]; k != 0 {
		in, out = in*k, out*k
	}
	if f[SensorFrozen] != 0 {
		if !s.frozen {
			s.frozen, s.held = true, [2]float64{in, out}
		}
		out = s.held[1]
	} else {
		s.frozen = false
	}
	return in, out, f[SensorDropped] == 0 || s.rng.Float64() >= f[SensorDropped]
}

func (s *sensors) read(p, noise float64) float64 {
	if noise > 0 {
		p += noise * s.rng.NormFloat64()
	}
	if s.Step > 0 {
		p = math.Round(p/s.Step) * s.Step
	}
	return p
}

// counter gives the reading of the counter for the true count.
func (s *sensors) counter(true_ int64, f *levels) float64 {
	for ; s.seen < true_; s.seen++ {
		s.count++
		if f[CounterBounce] > 0 && s.rng.Float64() < f[CounterBounce] {
			s.count++
		}
	}
	if f[CounterReset] != 0 && !s.reset {
		s.count = 0
	}
	s.reset = f[CounterReset] != 0
	if m := f[CounterRolls]; m > 1 {
		return math.Mod(s.count, m)
	}
	return s.count
}
