package feed

import (
	"math"
	"testing"
)

// turns is the outlet of a piston whose draw is even and does not show: at each turn, once in 0.8 s, the outlet
// falls by 15 kPa within 0.2 s and is back in another 0.2 s. No line through 0.8 s of it rises.
func turns(t float64) float64 {
	if t < 20 {
		return 800e3
	}
	return 800e3 - 15e3*max(0, 1-math.Abs(math.Mod(t, 0.8)-0.2)/0.2)
}

// The piston stands for 20 s and then works unseen at the inlet. Source: the scene's own times. An outlet that only
// falls, by as much, is drawn from.
func TestOutletThatComesBackIsWork(t *testing.T) {
	for name, c := range map[string]struct {
		outlet func(float64) float64
		works  bool
	}{
		"comes back": {turns, true},
		"falls":      {func(t float64) float64 { return 800e3 - 15e3*max(0, math.Floor((t-20)/0.8)) }, false},
	} {
		s := scene{rate: 50, noise: 300, header: level(600e3), sag: none, outlet: c.outlet, usual: 0.8}
		var f Follower
		before, after := 0, 0
		s.play(&f, 40, 0.1, 7, func(t float64) {
			switch {
			case t <= 5: // the first rest takes a while
			case t <= 20 && f.Works():
				before++
			case t > 22 && f.Works():
				after++
			}
		})
		if before > 0 || (after > 90) != c.works || !c.works && after > 0 {
			t.Errorf("%s: taken to work in %d frames before 20 s and in %d of 180 after 22 s", name, before, after)
		}
	}
}

// What the last stroke delivered spreads into the tank: the outlet rises by 3 kPa within 0.4 s behind the end of the
// draw, and the rest is not broken.
func TestOutletSettlesAtRest(t *testing.T) {
	r := strokes{runs: []span{{10, 14.9}}, sag: 15e3}
	s := scene{rate: 50, noise: 300, header: level(600e3), sag: r.draws, ends: r.ends(), usual: 0.5,
		outlet: func(t float64) float64 { return 800e3 + 3e3*min(1, max(0, (t-14.8)/0.4)) }}
	var f Follower
	works := 0
	s.play(&f, 30, 0.1, 3, func(t float64) {
		if t > 17 && f.Works() {
			works++
		}
	})
	if works > 0 {
		t.Errorf("taken to work in %d frames at rest", works)
	}
}
