package model

import "math"

// Header is how the header's pressure moves about its mean, as a function of time alone. The
// shapes are our own choice; what is known of sizes and times stands with the ranges that stations
// are drawn from. The zero value stands still.
type Header struct {
	Band   float64 // Pa from where the compressor loads to where it unloads
	Period float64 // s from load to load
	Load   float64 // share of Period in which the pressure rises, 0.1 to 0.9

	Noise    float64 // Pa rms of slow noise
	NoiseLag float64 // s over which it changes

	Neighbours int     // others on the header, each with a rhythm of its own
	Draw       float64 // Pa by which one that draws lowers the header
	Hold       float64 // s for which one draws or does not, at least Ramp
	Ramp       float64 // s over which the pressure follows

	Trip Trip
	Seed uint64
}

// Trip is a compressor that drops out: the header falls at Rate by Fall, and comes back at Rate.
type Trip struct {
	At, For float64 // s: when it drops out, and for how long; never where For is 0
	Fall    float64 // Pa
	Rate    float64 // Pa/s
}

// Swing returns by how many Pa the header is off its mean at t s.
func (h *Header) Swing(t float64) float64 {
	p := 0.0
	if h.Band > 0 {
		p += h.band(t)
	}
	if h.Noise > 0 {
		p += h.noise(t)
	}
	for i := range h.Neighbours {
		p -= h.neighbour(i, t)
	}
	if h.Trip.For > 0 {
		p -= h.Trip.fall(t)
	}
	return p
}

// Turning points of the band move by up to loose of the shorter flank either way, and fall short
// of their level by up to short of half the band.
const loose, short = 0.1, 0.15

// band is a triangle whose turning points vary from period to period.
func (h *Header) band(t float64) float64 {
	t += chance(h.Seed, -1) * h.Period
	n, _ := slot(t, h.Period)
	for k := 2*n - 1; ; k++ {
		t0, p0 := h.turn(k)
		t1, p1 := h.turn(k + 1)
		if t < t1 {
			return p0 + (p1-p0)*(t-t0)/(t1-t0)
		}
	}
}

// turn returns time and level of the k-th turning point: even ones at the bottom of the band, odd
// ones at its top.
func (h *Header) turn(k int64) (t, p float64) {
	flank := min(h.Load, 1-h.Load) * h.Period
	n := k >> 1
	t = float64(n)*h.Period + loose*flank*spread(h.Seed^0xa1, k)
	p = h.Band / 2 * (1 - short*chance(h.Seed^0xa2, k))
	if k&1 == 0 {
		return t, -p
	}
	return t + h.Load*h.Period, p
}

// Steepest returns the greatest slope that the band can have, Pa/s.
func (h *Header) Steepest() float64 {
	if h.Band == 0 {
		return 0
	}
	return h.Band / ((1 - 2*loose) * min(h.Load, 1-h.Load) * h.Period)
}

// noise is slow noise of three lags, each a third of the one before, of falling size.
func (h *Header) noise(t float64) float64 {
	a, b, c := 1.0, 0.5, 0.25
	sum := a*wander(h.Seed^0xb1, t, h.NoiseLag) + b*wander(h.Seed^0xb2, t, h.NoiseLag/3) + c*wander(h.Seed^0xb3, t, h.NoiseLag/9)
	return h.Noise * sum / math.Sqrt(a*a+b*b+c*c)
}

// neighbour returns by how much neighbour i lowers the header.
func (h *Header) neighbour(i int, t float64) float64 {
	seed := h.Seed ^ 0xc1 + uint64(i)
	n, in := slot(t, h.Hold*(1+0.37*float64(i)))
	before, now := h.draws(seed, n-1), h.draws(seed, n)
	return h.Draw * (before + (now-before)*min(1, in/h.Ramp))
}

// draws returns 1 in the slots in which a neighbour draws, two of five.
func (h *Header) draws(seed uint64, n int64) float64 {
	if chance(seed, n) < 0.4 {
		return 1
	}
	return 0
}

func (p *Trip) fall(t float64) float64 {
	down := p.Rate * (t - p.At)
	up := p.Fall - p.Rate*(t-p.At-p.For)
	return max(0, min(p.Fall, down, up))
}
