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
	Header  bool // has a sensor of the header's pressure, as noisy as the others
	Counts  station.Counts
	CountHz float64 // readings of the counter a second, 0: as the pressures
	Flow    bool    // a flow meter sits at the inlet: a reading a second, m³/s ANR
	Jitter  float64 // by which time stamps are off, at most, as a share of a step
	Gaps    Gaps
}

// Gaps are times in which all readings are lost: the last Lost of every Every, s from the start.
// The zero value loses none.
type Gaps struct{ Every, Lost int64 }

// At reports whether the readings at t of a station that began at start are lost.
func (g Gaps) At(start, t station.Instant) bool {
	return g.Every > 0 && t.Sub(start)/station.Second%g.Every >= g.Every-g.Lost
}

// sensors turn the machine's true state into readings.
type sensors struct {
	Sensors
	rng    *rand.Rand
	clock  *rand.Rand
	held   [2]float64 // readings that stand still
	frozen [2]bool
	count  float64 // what the counter shows
	seen   int64   // true count at the last reading
	reset  bool
	line   float64         // Pa gauge in the outlet's gauge line behind its closed cock
	bled   station.Instant // when the line was looked at last, 0: its cock is open
}

func newSensors(s Sensors, seed uint64) sensors {
	return sensors{Sensors: s, rng: rand.New(rand.NewPCG(seed, 0x5e)), clock: rand.New(rand.NewPCG(seed, 0x71))}
}

// stamp returns the time that the device gives a reading at t, where a step takes step ns.
func (s *sensors) stamp(t station.Instant, step int64) station.Instant {
	if s.Jitter == 0 {
		return t
	}
	off := s.Jitter * (2*s.clock.Float64() - 1) * float64(step)
	return t.Add(int64(math.Round(off/1e3)) * station.Microsecond)
}

// pressures returns the readings of inlet and outlet, Pa gauge; false: lost on the way.
func (s *sensors) pressures(p1, p2 float64, f *levels) (in, out float64, ok bool) {
	noise := s.Noise + f[SensorNoise]
	in, out = s.read(p1+f[InletOffset], noise), s.read(p2+f[SensorOffset], noise)
	in, out = clipped(in, f[InletClipped]), clipped(out, f[OutletClipped])
	if f[SensorsSwapped] != 0 {
		in, out = out, in
	}
	in, out = scaled(in, f[WrongUnit], f[InletUnit]), scaled(out, f[WrongUnit], f[OutletUnit])
	in, out = s.still(0, in, f[InletFrozen]), s.still(1, out, f[SensorFrozen])
	return in, out, f[SensorDropped] == 0 || s.rng.Float64() >= f[SensorDropped]
}

// gauge returns the outlet's pressure at its sensor: the tank's, p2, or where the cock of the gauge
// line is closed what the line still holds. It empties through a bleed screw at a time constant of
// tau s (laminar, own choice):
//
//	p(t) = p(t0) exp(-(t - t0)/tau)
func (s *sensors) gauge(t station.Instant, p2, tau float64) float64 {
	if tau == 0 {
		s.bled = 0
		return p2
	}
	if s.bled == 0 {
		s.bled, s.line = t, p2
	}
	s.line *= math.Exp(-float64(t.Sub(s.bled)) * 1e-9 / tau)
	s.bled = t
	return s.line
}

// still holds a channel's reading where it was when the fault set in.
func (s *sensors) still(channel int, p, level float64) float64 {
	if level == 0 {
		s.frozen[channel] = false
		return p
	}
	if !s.frozen[channel] {
		s.frozen[channel], s.held[channel] = true, p
	}
	return s.held[channel]
}

// clipped ends the range of a sensor at top, 0: nowhere.
func clipped(p, top float64) float64 {
	if top > 0 {
		return math.Min(p, top)
	}
	return p
}

// scaled returns a reading times those factors that are given.
func scaled(p float64, factors ...float64) float64 {
	for _, k := range factors {
		if k != 0 {
			p *= k
		}
	}
	return p
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

// counter returns the reading of the counter for the true count.
func (s *sensors) counter(true_ int64, f *levels) float64 {
	for ; s.seen < true_; s.seen++ {
		if f[CounterMisses] > 0 && s.rng.Float64() < f[CounterMisses] {
			continue
		}
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
