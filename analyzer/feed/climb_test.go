package feed

import (
	"math/rand/v2"
	"testing"
)

// saw feeds n rises of a height and as many falls, ten frames each, with noise of deviation 1 to c.
func saw(c *Climb, n int, height float64, works bool, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for i := range 20 * n {
		x := float64(i % 20)
		if x > 10 {
			x = 20 - x
		}
		c.take(800e3+height*x/10+rng.NormFloat64(), overTurn, works)
	}
}

// Rises of known height in units of the noise: the sum is a lower bound, short of the truth by overTurn a
// rise and by what the falls hide. White noise alone adds next to nothing, however long.
func TestClimbAddsUpRises(t *testing.T) {
	for _, height := range []float64{20, 50, 200} {
		var c Climb
		saw(&c, 500, height, true, 1)
		truth := 500 * height
		t.Logf("rises of %g deviations: %.3f of the truth", height, c.Sum/truth)
		if c.Sum < 0.9*500*(height-overTurn) || c.Sum > truth {
			t.Errorf("rises of %g deviations: sum %.0f, truth %.0f", height, c.Sum, truth)
		}
	}
}

// An hour of work against an equal demand: the outlet stands, and noise is no rise.
func TestNoiseIsNoClimb(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	var c Climb
	for range 36000 {
		c.take(800e3+rng.NormFloat64(), overTurn, true)
	}
	if c.Sum > 72 { // two thousandths of a deviation a frame: a tooth of ten deviations each eight minutes
		t.Errorf("noise of deviation 1 climbed %.1f in 36,000 frames", c.Sum)
	}
}

// While the piston stands nothing counts, however much the outlet rises, and what it rose then does not
// count once the piston works.
func TestClimbStands(t *testing.T) {
	var c Climb
	saw(&c, 100, 50, false, 2)
	if c.Sum != 0 {
		t.Errorf("a standing piston climbed %.0f", c.Sum)
	}
	for i := range 1000 {
		c.take(800e3+float64(i), overTurn, false)
	}
	if c.take(801e3, overTurn, true); c.Sum != 0 {
		t.Errorf("%.0f of a rise before the piston worked counts", c.Sum)
	}
}

// A rise begins at the lowest point, however slowly the outlet fell to it, and ends at the highest.
func TestClimbFromTheLowest(t *testing.T) {
	var c Climb
	for _, x := range []float64{100, 99, 98, 97, 103, 150, 149, 197, 195, 190, 196} {
		c.take(x, 5.5, true)
	}
	if c.Sum != 100-5.5+6-5.5 {
		t.Errorf("climbed %g, from 97 to 197 and from 190 to 196 it is 106, less 5.5 each", c.Sum)
	}
}
