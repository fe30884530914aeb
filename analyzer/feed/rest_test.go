package feed

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// false breaks of a rest: either of two rules (the inlet falls, the outlet rises) asks for four
// deviations of white noise in a frame. breaksByNoise returns how many that is at most in n frames, by
// Poisson's distribution, but once in a thousand times.
func breaksByNoise(n int) int {
	p := distuv.Poisson{Lambda: 2 * distuv.UnitNormal.Survival(sure) * float64(n)}
	k := 0
	for p.CDF(float64(k)) < 0.999 {
		k++
	}
	return k
}

var rates = []float64{10, 20, 100} // Hz

// firstRest is how many frames the first rest takes to be seen: the window, and what it must last.
const firstRest = window + leastQuiet*10

// A steady slope of any header is a rest from the begin on, and the slope adds no error to the level:
// it is within four deviations of a frame's mean (an alpha-beta filter smooths, so its own error is less).
func TestSlopesAreRests(t *testing.T) {
	for _, rate := range rates {
		for _, slope := range []float64{-22e3, -10e3, -4e3, -1e3, 0, 1e3, 5e3} {
			s := scene{rate: rate, noise: 300, header: func(t float64) float64 { return 900e3 + slope*t }, sag: none, outlet: level(800e3)}
			var f Follower
			var w spans
			worst, limit := 0.0, 4*s.noise/math.Sqrt(rate/10)
			s.play(&f, 20, 0.1, 1, func(float64) {
				if w.look(&f); f.Rests {
					worst = max(worst, math.Abs(f.Level-s.header(float64(f.At.Sub(t0))*1e-9)))
				}
			})
			if len(w.done) > 0 || w.live > firstRest {
				t.Errorf("%g Hz, %g Pa/s: works %v, in %d frames live", rate, slope, w.done, w.live)
			}
			if worst > limit || !f.Rests || math.Abs(f.Slope-slope) > 2*limit {
				t.Errorf("%g Hz, %g Pa/s: level off by %.0f Pa, limit %.0f; slope %.0f", rate, slope, worst, limit, f.Slope)
			}
		}
	}
}

// A header that bends each 3 to 8 s, by up to 27 kPa/s, is followed from rest to rest: once the bend is
// judged no more work is left than noise alone breaks off, and a second behind a bend the level is
// within four deviations of a frame's mean.
func TestBendsAreRests(t *testing.T) {
	for _, rate := range rates {
		frames, works, bent, off := 0, 0, 0, 0
		limit := 4 * 300 / math.Sqrt(rate/10)
		for seed := range uint64(20) {
			h := randomPath(rand.New(rand.NewPCG(seed, 2)), 900e3, -22e3, 5e3, 60)
			s := scene{rate: rate, noise: 300, header: h.at, sag: none, outlet: level(800e3)}
			var f Follower
			var w spans
			s.play(&f, 60, 0.1, seed, func(x float64) {
				w.look(&f)
				if frames++; f.Rests && h.turned(x) > 1 {
					if bent++; math.Abs(f.Level-h.at(float64(f.At.Sub(t0))*1e-9)) > limit {
						off++
					}
				}
			})
			works += len(w.done)
		}
		t.Logf("%g Hz: %d times of work in %d frames; level off in %d of %d", rate, works, frames, off, bent)
		if works > breaksByNoise(frames) {
			t.Errorf("%g Hz: %d times of work, noise explains %d", rate, works, breaksByNoise(frames))
		}
		if bent < frames/2 || off > bent/200 {
			t.Errorf("%g Hz: the level is off by more than %.0f Pa in %d of %d frames", rate, limit, off, bent)
		}
	}
}

// Hours of rest with white noise: no more breaks than four deviations make, each of which lasts for the
// window and the least straight stretch at most. With a slow wander of the header too (a sine of 1 kPa in 60 s),
// since the wander is learned.
func TestNoiseBreaksFewRests(t *testing.T) {
	for _, rate := range rates {
		for name, h := range map[string]func(float64) float64{
			"steady":    level(600e3),
			"wandering": func(t float64) float64 { return 600e3 + 1e3*math.Sin(2*math.Pi*t/60) },
		} {
			s := scene{rate: rate, noise: 300, header: h, sag: none, outlet: level(800e3)}
			var f Follower
			var w spans
			breaks, was, n := 0, f.BreakAt, 0
			s.play(&f, 2*3600, 0.1, 9, func(float64) {
				w.look(&f)
				if n++; f.BreakAt != was {
					breaks, was = breaks+1, f.BreakAt
				}
			})
			most := breaksByNoise(n)
			t.Logf("%g Hz, %s: %d breaks, %d frames of work of %d, kept %v", rate, name, breaks, w.live, n, w.done)
			if breaks > most || w.live > (most+1)*firstRest {
				t.Errorf("%g Hz, %s: %d breaks in %d frames, limit %d; %d frames of work", rate, name, breaks, n, most, w.live)
			}
		}
	}
}

// A jump upward is the header's: nothing else lifts the inlet. So is what a compressor's band does,
// up by 4 kPa/s and down by 1.
func TestRisesOfTheHeaderAreRests(t *testing.T) {
	for name, h := range map[string]func(float64) float64{
		"jump": func(t float64) float64 { return 600e3 + 20e3*math.Floor(t/10) },
		"band": func(t float64) float64 { x := math.Mod(t, 10); return 600e3 + min(4e3*x, 10e3-1e3*x) },
	} {
		s := scene{rate: 100, noise: 300, header: h, sag: none, outlet: level(800e3)}
		var f Follower
		var w spans
		s.play(&f, 100, 0.1, 3, func(float64) { w.look(&f) })
		if len(w.done) > 0 || math.Abs(f.Level-h(99.95)) > 400 { // four deviations of a frame's mean
			t.Errorf("%s: works %v, level %.0f for %.0f", name, w.done, f.Level, h(99.95))
		}
	}
}
