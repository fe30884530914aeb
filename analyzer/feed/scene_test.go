package feed

import (
	"math"
	"math/rand/v2"

	"strokewise/analyzer/station"
)

// scene is an invented station of known truth. Functions are of s since t0, pressures Pa gauge.
type scene struct {
	rate, noise float64 // Hz; standard deviation of a sample, Pa
	header      func(t float64) float64
	sag         func(t float64) float64
	outlet      func(t float64) float64
	ends        []float64 // of strokes, s
	sensed      bool      // the header has its own sensor, read once a slot without noise
	usual       float64   // usual time between strokes, s
	late        float64   // time constant of the supply line, s
}

var t0 = station.Instant(1767225600 * station.Second)

func at(s float64) station.Instant { return t0.Add(int64(math.Round(s * 1e9))) }

func none(float64) float64 { return 0 }

func level(p float64) func(float64) float64 { return func(float64) float64 { return p } }

// series returns the samples of a scene: the header less the sag, which the line's time constant
// smooths, and the outlet, both with white noise.
func (s *scene) series(seconds float64, seed uint64) (in, out Series) {
	rng := rand.New(rand.NewPCG(seed, 1))
	y, keep := 0.0, 0.0
	if s.late > 0 {
		keep = math.Exp(-1e-3 / s.late)
	}
	last := 0.0
	for i := range int(seconds * s.rate) {
		t := float64(i) / s.rate
		for ; s.late > 0 && last < t; last += 1e-3 {
			y = s.sag(last) + keep*(y-s.sag(last))
		}
		if s.late == 0 {
			y = s.sag(t)
		}
		in.T, in.V = append(in.T, at(t)), append(in.V, s.header(t)-y+s.noise*rng.NormFloat64())
		out.T, out.V = append(out.T, at(t)), append(out.V, s.outlet(t)+s.noise*rng.NormFloat64())
	}
	return in, out
}

// context returns what the engine would know in the slot that begins at t.
func (s *scene) context(t float64) Context {
	c := Context{InNoise: s.noise, OutNoise: s.noise, Usual: s.usual, Atmosphere: 101325}
	if s.sensed {
		c.Header = s.header(t)
	}
	return c
}

// until returns the samples before t, and the others.
func (s Series) until(t station.Instant) (before, after Series) {
	i := 0
	for i < len(s.T) && s.T[i] < t {
		i++
	}
	return Series{s.T[:i], s.V[:i]}, Series{s.T[i:], s.V[i:]}
}

// play feeds the scene to f in calls of step s and calls look after each. Ends of strokes are fed
// once the call that holds them has passed, as the engine does.
func (s *scene) play(f *Follower, seconds, step float64, seed uint64, look func(t float64)) {
	in, out := s.series(seconds, seed)
	ends := s.ends
	for k := 0; float64(k+1)*step <= seconds+1e-9; k++ {
		from, to := float64(k)*step, float64(k+1)*step
		var i, o Series
		i, in = in.until(at(to))
		o, out = out.until(at(to))
		c := s.context(from)
		f.Samples(at(from), at(to), i, o, &c)
		for len(ends) > 0 && ends[0] < to {
			f.Stroke(at(ends[0]), false)
			ends = ends[1:]
		}
		look(to)
	}
}

// span is a time of work, s since t0.
type span struct{ from, to float64 }

// spans gathers when the piston worked, with begins and ends dated as the follower dates them.
type spans struct {
	rests bool
	open  station.Instant
	done  []span
	live  int // calls after which the piston was taken to work
}

// look is called after each frame.
func (w *spans) look(f *Follower) {
	if f.Works() {
		w.live++
	}
	switch {
	case w.rests && !f.Rests:
		w.open = f.Since
	case !w.rests && f.Rests && f.Since > max(w.open, t0):
		w.done = append(w.done, span{seconds(max(w.open, t0).Sub(t0)), seconds(f.Since.Sub(t0))})
	}
	w.rests = f.Rests
}

// path is a header as a piecewise straight line.
type path struct{ t, p []float64 }

// at returns the header at t.
func (h *path) at(t float64) float64 {
	i := 1
	for i < len(h.t)-1 && t > h.t[i] {
		i++
	}
	return h.p[i-1] + (h.p[i]-h.p[i-1])*(t-h.t[i-1])/(h.t[i]-h.t[i-1])
}

// turned returns how long before t the slope last changed, s.
func (h *path) turned(t float64) float64 {
	last := math.Inf(-1)
	for _, x := range h.t[1:] {
		if x <= t {
			last = x
		}
	}
	return t - last
}

// randomPath returns a header that starts at p Pa and changes its slope to one of [low, high] Pa/s
// each 3 to 8 s.
func randomPath(rng *rand.Rand, p, low, high, seconds float64) *path {
	h := &path{t: []float64{0}, p: []float64{p}}
	for t := 0.0; t < seconds; {
		d := 3 + 5*rng.Float64()
		p += d * (low + (high-low)*rng.Float64())
		t += d
		h.t, h.p = append(h.t, t), append(h.p, p)
	}
	return h
}
