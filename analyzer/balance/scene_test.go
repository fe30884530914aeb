package balance

import (
	"math"
	"math/rand/v2"

	"strokewise/analyzer/station"
)

const t0 = station.Instant(1767225600 * station.Second)

func at(s float64) station.Instant { return t0.Add(int64(math.Round(s * 1e9))) }

// scene is a line of a known k whose station strokes in runs. A cycle lasts as long as the pace says and
// draws for four fifths of it, by ISO 6358 with b = 0.3 and without a volume behind the line, so the sag of the inlet
// follows from the flow in closed form.
type scene struct {
	k      func(t float64) float64 // Pa s/m³
	header func(t float64) float64 // Pa absolute
	air    float64                 // m³ ANR of a cycle
	pace   float64                 // s
	run    float64                 // s of strokes in each period
	period float64                 // s
	rate   float64                 // Hz
	noise  float64                 // Pa
	off    float64                 // Pa by which the inlet reads too much
	sensed bool                    // the header has a sensor
	seed   uint64
}

func constant(x float64) func(float64) float64 { return func(float64) float64 { return x } }

// usual is a station at 100 Hz that strokes for 12 of 24 s with a sag of some 9 kPa.
func usual() scene {
	return scene{k: constant(1 / 6e-8), header: constant(700e3), air: 4.8e-3, pace: 0.9, run: 12, period: 24, rate: 100, noise: 300, seed: 1}
}

// inlet returns p1 at t s: while the piston draws the flow is q = air/(0.8 pace), and by ISO 6358
//
//	q = C h sqrt(1 - y²),  y = (p1/h - b)/(1 - b),  C = sqrt(1-b)/k
func (s *scene) inlet(t float64) float64 {
	h, in := s.header(t), math.Mod(t, s.period)-(s.period-s.run)
	if in < 0 || math.Mod(in, s.pace) > 0.8*s.pace {
		return h
	}
	const b = assumedB
	x := s.air / (0.8 * s.pace) * s.k(t) / (math.Sqrt(1-b) * h)
	return h * (b + (1-b)*math.Sqrt(1-x*x))
}

// play feeds s seconds to l, cycles told half a second late, and calls each behind each half second.
func (s *scene) play(l *Line, total float64, each func(t float64)) {
	rng := rand.New(rand.NewPCG(s.seed, 7))
	told, half := 0.0, 0.5
	for i := 0; float64(i) < total*s.rate; i++ {
		t := float64(i) / s.rate
		if t >= half {
			told = s.tell(l, told, half-0.5)
			if s.sensed {
				l.Header(at(half-0.25), s.header(half-0.25)+s.noise/3*rng.NormFloat64(), 9)
			}
			l.Stand(at(half), s.pace, s.noise)
			if each != nil {
				each(half)
			}
			half += 0.5
		}
		l.Sample(at(t), s.inlet(t)+s.off+s.noise*rng.NormFloat64())
	}
}

// tell tells the cycles that ended in (from, to], and returns to.
func (s *scene) tell(l *Line, from, to float64) float64 {
	for n := math.Floor(from / s.period); n*s.period <= to; n++ {
		begin := n*s.period + s.period - s.run
		for e := begin + s.pace; e <= (n+1)*s.period+1e-9; e += s.pace {
			if e > from && e <= to {
				l.Cycle(at(e), s.air, s.pace, s.noise)
			}
		}
	}
	return max(from, to)
}

// triangle is a header that rises and falls at a slope, Pa/s, turning each half s.
func triangle(mean, slope, half float64) func(float64) float64 {
	return func(t float64) float64 {
		x := math.Mod(t, 2*half)
		return mean + slope*(min(x, 2*half-x)-half/2)
	}
}
