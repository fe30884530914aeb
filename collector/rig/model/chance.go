package model

import "math"

// chance returns a number in [0, 1) that depends on seed and n alone: the finaliser of splitmix64
// (public domain).
func chance(seed uint64, n int64) float64 {
	x := seed + uint64(n)*0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	x ^= x >> 31
	return float64(x>>11) / (1 << 53)
}

// spread returns a number in [-1, 1) that depends on seed and n alone.
func spread(seed uint64, n int64) float64 { return 2*chance(seed, n) - 1 }

// slot returns the number of the slot of length every that t lies in, and how far into it t is, s.
func slot(t, every float64) (n int64, in float64) {
	k := math.Floor(t / every)
	return int64(k), t - k*every
}

// wander returns slow noise of unit variance at t s: values drawn every lag s with a smooth line
// s(x) = 3x² - 2x³ between them. Uniform values have a variance of 1/3, and the mean over a slot of
// (1-s)² + s² is 26/35.
func wander(seed uint64, t, lag float64) float64 {
	n, in := slot(t, lag)
	x := in / lag
	s := x * x * (3 - 2*x)
	a, b := spread(seed, n), spread(seed, n+1)
	return (a + (b-a)*s) * wanderScale
}

var wanderScale = math.Sqrt(3 * 35. / 26)
