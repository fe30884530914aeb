package sensors

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// climbCounts is the number of counts in a row over which the outlet climbs.
	climbCounts = 4
	// climbClear is their expected lift over the standard error of what noise makes of it, from which it is looked at.
	climbClear = 20.0
	// highestKept is how many of the highest climbs are kept; the last of them counts, since single ones err.
	highestKept = 4
	// climbFade is the share by which the kept climbs are lowered a count: 30 % in an hour of quick strokes, so that a wrong value that was
	// corrected, or a sensor that was mended, does not stay. Own choice.
	climbFade = 1e-4
)

// Climb keeps how much of the expected lift the outlet climbed a count at most. What consumers draw only takes from that, wherever the
// outlet is measured: it is a lower bound of the lift. Fields are exported for snapshots only.
type Climb struct {
	Rise, Expect float64 // of the counts in a row, Pa
	N            int
	High         [highestKept]float64
}

// add adds the course of a count.
func (b *Climb) add(c *course, noise float64, p *station.Plate) {
	e := expected(c.Lift, p)
	if e <= 0 {
		return
	}
	if !c.Next {
		b.Rise, b.Expect, b.N = 0, 0, 0
	}
	for i := range b.High {
		b.High[i] *= 1 - climbFade
	}
	b.Rise, b.Expect = b.Rise+c.Rise, b.Expect+e
	if b.N++; b.N < climbCounts {
		return
	}
	samples := 0.0
	for _, n := range c.N[1] {
		samples += n
	}
	if max(b.Rise, b.Expect) > climbClear*noise*math.Sqrt(2/max(1, samples)) {
		b.keep(b.Rise / b.Expect)
	}
	b.Rise, b.Expect, b.N = 0, 0, 0
}

// keep keeps a share if it is among the highest.
func (b *Climb) keep(x float64) {
	for i := range b.High {
		if x > b.High[i] {
			b.High[i], x = x, b.High[i]
		}
	}
}

// share returns the lower bound of the lift over the expected one, NaN where none is known.
func (b *Climb) share() float64 {
	if b.High[highestKept-1] <= 0 {
		return math.NaN()
	}
	return b.High[highestKept-1]
}
