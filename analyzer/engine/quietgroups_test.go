package engine

import (
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// ringOf gives rounds of closed form: a tank of 30 L, 0.4 L a stroke by plate, four strokes a round
// counted in cycles; the share of it that is delivered is share(i) in round i.
func ringOf(rng *rand.Rand, n int, share func(i int) float64) *recharge {
	r := &recharge{Kept: n}
	at, left := t0, 0.0
	for i := range n {
		k := share(i)
		left += 3.5 + rng.Float64() // strokes that the leak asks for
		made := 2 * float64(int(left/2))
		left -= made
		gas := made * k * 0.4e-3 / 30e-3 // and what is cut off at either end
		gas += (rng.Float64() - 0.5) * 0.4e-3 / 30e-3
		q := quietRound{At: at, Lost: 2000, Rate: gas / 2000, Strokes: made, Plain: made * 0.4e-3, Swept: made * 0.42e-3, Chained: i > 0}
		r.Ring[mostQuiet-n+i] = q
		at = at.Add(100 * station.Second)
	}
	return r
}

// A fall of the delivery by a fifth is seen within ten recharges, and the older ones are dropped; a
// sound station's scatter, and single rounds in which something was drawn, are not followed.
func TestNewLevel(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	look := func(share func(int) float64) (int, *recharge, []quietRound) {
		r := ringOf(rng, 24, share)
		var buf [mostQuiet]quietRound
		g := r.groups(&buf, 1e-4)
		n := newLevel(g, 2.2)
		if n > 0 {
			r.forget(g[len(g)-n:])
		}
		return n, r, g
	}
	found, false1, false2 := 0, 0, 0
	for range 50 {
		n, r, g := look(func(i int) float64 {
			if i >= 14 {
				return 0.8
			}
			return 1
		})
		if n > 0 && r.Kept <= 12 {
			found++
		}
		for i := range g[1:] { // the oldest may be cut short
			if g[i+1].Strokes < groupStrokes {
				t.Fatalf("a group of %g strokes", g[i+1].Strokes)
			}
		}
		if n, _, _ := look(func(int) float64 { return 1 }); n > 0 {
			false1++
		}
		if n, _, _ := look(func(i int) float64 {
			if i == 9 || i == 15 || i == 20 {
				return 0.4
			}
			return 1
		}); n > 0 {
			false2++
		}
	}
	t.Logf("found %d of 50, false %d, with drawn rounds %d", found, false1, false2)
	if found < 45 || false1 > 1 || false2 > 5 {
		t.Errorf("found %d of 50, false %d, with drawn rounds %d", found, false1, false2)
	}
}
