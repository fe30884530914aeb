package feed

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// strokes is a station that strokes in runs. A stroke takes 0.5 s: it draws for 0.4 s and turns for 0.1 s.
type strokes struct {
	runs []span
	sag  float64 // Pa
	lift float64 // of the outlet by a stroke, Pa; half of it is drawn meanwhile
	fall float64 // of the outlet, Pa/s
}

const strokeTime, travel = 0.5, 0.4 // s

func (r *strokes) draws(t float64) float64 {
	for _, x := range r.runs {
		if t >= x.from && t < x.to && math.Mod(t-x.from, strokeTime) < travel {
			return r.sag
		}
	}
	return 0
}

func (r *strokes) outlet(t float64) float64 {
	p := 800e3 - r.fall*t
	for _, x := range r.runs {
		if n := (min(t, x.to) - x.from) / strokeTime; n > 0 {
			p += r.lift * (math.Floor(n) + min(1, (n-math.Floor(n))*strokeTime/travel))
		}
	}
	return p
}

func (r *strokes) ends() (s []float64) {
	for _, x := range r.runs {
		for t := x.from + travel; t < x.to; t += strokeTime {
			s = append(s, t)
		}
	}
	return s
}

// randomRuns returns runs of 6 to 20 strokes with rests of 5 to 12 s before each.
func randomRuns(rng *rand.Rand, seconds float64) []span {
	var runs []span
	for t := 5 + 7*rng.Float64(); ; {
		// the last stroke has no turn behind it
		to := t + strokeTime*float64(6+rng.IntN(15)) - (strokeTime - travel)
		if to > seconds-5 {
			return runs
		}
		runs = append(runs, span{t, to})
		t = to + 5 + 7*rng.Float64()
	}
}

// slews returns a header that changes its slope to one of ±4 kPa/s in the middle of each rest and once in
// each run, not within a window of its begin or end: a bend there blurs them.
func slews(rng *rand.Rand, runs []span, seconds float64) *path {
	h := &path{t: []float64{0}, p: []float64{600e3}}
	bend := func(t float64) {
		n := len(h.t) - 1
		h.t, h.p = append(h.t, t), append(h.p, h.p[n]+(t-h.t[n])*4e3*(2*rng.Float64()-1))
	}
	end := 0.0
	for _, r := range runs {
		bend((end + r.from) / 2)
		bend(r.from + 1 + (r.to-r.from-2)*rng.Float64())
		end = r.to
	}
	bend(seconds)
	return h
}

// matches reports whether each span of truth was seen, begin and end within a tolerance, s, and no other.
func matches(got, truth []span, within float64) bool {
	if len(got) != len(truth) {
		return false
	}
	for i := range truth {
		if math.Abs(got[i].from-truth[i].from) > within || math.Abs(got[i].to-truth[i].to) > within {
			return false
		}
	}
	return true
}

// Runs on a header that slews by up to 4 kPa/s either way, and by more between two rests than strokes sag.
// Begin and end are dated within two frames, at 10 Hz within four, where a stroke is five samples.
func TestRunsOnASlewingHeader(t *testing.T) {
	for _, c := range []struct{ rate, within float64 }{{100, 0.2}, {10, 0.4}} {
		late, n, bad := 0.0, 0, 0
		for seed := range uint64(20) {
			rng := rand.New(rand.NewPCG(seed, 3))
			r := strokes{runs: randomRuns(rng, 120), sag: 8e3, lift: 4e3, fall: 3e3}
			h := slews(rng, r.runs, 120)
			s := scene{rate: c.rate, noise: 300, header: h.at, sag: r.draws, outlet: r.outlet, ends: r.ends(), usual: strokeTime, late: 0.03}
			var f Follower
			var w spans
			s.play(&f, 120, 0.1, seed, func(float64) { w.look(&f) })
			if n += len(r.runs); !matches(w.done, r.runs, c.within) {
				bad++
				t.Errorf("%g Hz, seed %d: works\n%.2f, truth\n%.2f", c.rate, seed, w.done, r.runs)
			}
			for i := range min(len(w.done), len(r.runs)) {
				late = max(late, math.Abs(w.done[i].from-r.runs[i].from), math.Abs(w.done[i].to-r.runs[i].to))
			}
		}
		t.Logf("%g Hz: %d runs, worst %.2f s, %d of 20 scenes off", c.rate, n, late, bad)
	}
}

// steady is a draw without teeth from 10 to 20 s: strokes too quick or too smooth to be told apart. The
// outlet rises by 3 kPa/s meanwhile.
func steady(sag float64) scene {
	draw := func(t float64) float64 {
		if t >= 10 && t < 20 {
			return sag
		}
		return 0
	}
	return scene{rate: 100, noise: 300, header: level(600e3), sag: draw, usual: strokeTime,
		outlet: func(t float64) float64 { return 800e3 + 3e3*min(10, max(0, t-10)) }}
}

// A straight inlet is no rest while the outlet rises: something feeds it.
func TestSmoothDrawWorks(t *testing.T) {
	for _, c := range []struct{ sag, within float64 }{{5e3, 0.2}, {0, 0.8}} { // without a sag the outlet's window tells
		s := steady(c.sag)
		var f Follower
		var w spans
		rested := 0
		s.play(&f, 40, 0.1, 5, func(x float64) {
			if w.look(&f); f.Rests && x > 11 && x < 20 {
				rested++
			}
		})
		if !matches(w.done, []span{{10, 20}}, c.within) || rested > 0 {
			t.Errorf("sag of %g Pa: works %.2f, truth [{10 20}]; rests in %d frames of it", c.sag, w.done, rested)
		}
		if c.sag > 0 != f.Drew[0] {
			t.Errorf("sag of %g Pa: seen to draw %v", c.sag, f.Drew[0])
		}
		// the outlet rises by 30 kPa; what it rises before it is seen to work does not count
		if x := f.Climb.Sum; x < 28e3-3e3*c.within || x > 31e3 {
			t.Errorf("sag of %g Pa: climbed %.0f Pa of 30000", c.sag, x)
		}
	}
}

// A steady draw against an equal demand leaves both traces straight: the ends of strokes, as a counter
// shows them, are all that tells it from a rest. Without them two strokes' time of it is a rest.
func TestEndsTellWorkFromARest(t *testing.T) {
	for _, counted := range []bool{true, false} {
		s := steady(8e3)
		s.outlet, s.usual = level(800e3), 1
		for x := 10.6; counted && x < 20; x++ {
			s.ends = append(s.ends, x)
		}
		var f Follower
		rested := 0
		s.play(&f, 19.9, 0.1, 5, func(x float64) {
			if f.Rests && x > 10.2 {
				rested++
			}
		})
		if counted != (rested == 0) {
			t.Errorf("ends %v: rests in %d frames of the draw", counted, rested)
		}
	}
}

// A sag that begins after the outlet rose is seen, too.
func TestLateSagIsSeen(t *testing.T) {
	s := steady(0)
	s.sag = func(t float64) float64 { return 5e3 * min(1, max(0, t-14)) }
	var f Follower
	s.play(&f, 13, 0.1, 5, func(float64) {})
	if f.Rests || f.Drew[0] {
		t.Errorf("before the sag: rests %v, drew %v", f.Rests, f.Drew[0])
	}
	f = Follower{}
	s.play(&f, 17, 0.1, 5, func(float64) {})
	if f.Rests || !f.Drew[0] {
		t.Errorf("in the sag: rests %v, drew %v", f.Rests, f.Drew[0])
	}
}

// The header's own sensor tells where the header is while the piston works: there the level is its
// reading, and it serves from the first one on, before any rest.
func TestHeaderSensor(t *testing.T) {
	r := strokes{runs: []span{{0, 19.9}, {30, 49.9}}, sag: 8e3, lift: 4e3, fall: 5e3}
	header := func(t float64) float64 { return 700e3 - 3e3*t }
	for _, sensed := range []bool{true, false} {
		s := scene{rate: 100, noise: 300, header: header, sag: r.draws, outlet: r.outlet, ends: r.ends(), usual: strokeTime, late: 0.03, sensed: sensed}
		var f Follower
		var w spans
		worst, known := 0.0, 0
		s.play(&f, 60, 0.5, 6, func(x float64) {
			w.look(&f)
			if x < 20 && f.At != 0 {
				known++
			}
			if x > 31 && x < 50 {
				worst = max(worst, math.Abs(f.Level-header(x)))
			}
		})
		// a reading is half a second old at the most: 1.5 kPa; without one the header fell by up to 58.5
		if sensed != (worst < 1.6e3) || sensed != (known > 0) {
			t.Errorf("sensor %v: level off by up to %.0f Pa within the run, known in %d slots before the first rest", sensed, worst, known)
		}
		if !matches(w.done, r.runs, 0.2) {
			t.Errorf("sensor %v: works %.2f, truth %.2f", sensed, w.done, r.runs)
		}
	}
}

// While the header falls steadily an inlet that starts to sag does not stand above it: the level at the
// break is the header's, within four deviations of a frame's mean.
func TestBreakIsTheHeader(t *testing.T) {
	for _, slope := range []float64{-10e3, -4e3, 0, 4e3} {
		r := strokes{runs: []span{{8, 11.9}}, sag: 3e3, lift: 4e3}
		s := scene{rate: 100, noise: 300, header: func(t float64) float64 { return 600e3 + slope*t }, sag: r.draws, outlet: r.outlet, ends: r.ends(), usual: strokeTime}
		var f Follower
		s.play(&f, 8.2, 0.1, 7, func(float64) {})
		if f.Rests || f.BreakAt != at(8) || math.Abs(f.BreakBy-s.header(8)) > 400 || f.Static() != f.BreakBy {
			t.Errorf("%g Pa/s: broke at %.1f s at %.0f Pa, header %.0f", slope, seconds(f.BreakAt.Sub(t0)), f.BreakBy, s.header(8))
		}
	}
}

// A header that rises while the piston works shows once the inlet stands above the level for a window.
func TestLevelFollowsAnInletAboveIt(t *testing.T) {
	r := strokes{runs: []span{{8, 27.9}}, sag: 8e3, lift: 4e3, fall: 4e3}
	header := func(t float64) float64 { return 600e3 + 30e3*min(1, max(0, (t-12)/5)) }
	s := scene{rate: 100, noise: 300, header: header, sag: r.draws, outlet: r.outlet, ends: r.ends(), usual: strokeTime, late: 0.03}
	var f Follower
	s.play(&f, 27, 0.1, 8, func(float64) {})
	if f.Rests || f.Level < 620e3 || f.Level > 630e3 { // above by what the header rose less the sag, and not above the header
		t.Errorf("rests %v, level %.0f Pa; header 630 kPa, inlet 622 to 630", f.Rests, f.Level)
	}
}

// However the time is cut into calls of whole slots, the follower is the same to the last bit; engine
// slots last 0.5 s. And in frames without a sample of the inlet none of the outlet's is lost.
func TestCallsChangeNothing(t *testing.T) {
	r := strokes{runs: []span{{8, 11.9}, {20, 27.9}}, sag: 8e3, lift: 4e3}
	h := randomPath(rand.New(rand.NewPCG(9, 9)), 600e3, -4e3, 4e3, 60)
	for _, rate := range []float64{8, 10, 33, 100} {
		s := scene{rate: rate, noise: 300, header: h.at, sag: r.draws, outlet: r.outlet, usual: strokeTime, late: 0.03}
		var first Follower
		s.play(&first, 60, 0.5, 4, func(float64) {})
		for _, step := range []float64{1, 2.5, 60} {
			var f Follower
			if s.play(&f, 60, step, 4, func(float64) {}); f != first {
				t.Errorf("%g Hz: calls of %g s make\n%+v, of half a second\n%+v", rate, step, f, first)
			}
		}
	}
	slow := scene{rate: 8, header: level(600e3), sag: none, outlet: level(800e3), noise: 300}
	in, _ := slow.series(10, 1)
	slow.rate = 100
	_, out := slow.series(10, 1)
	var f Follower
	c := slow.context(0)
	f.Samples(t0, at(10), in, out, &c)
	for i := range f.Ring {
		p := &f.Ring[i]
		if want := float64(p.To.Sub(p.From)) * 1e-7; p.Out.N != want || i > 0 && p.From != f.Ring[i-1].To {
			t.Errorf("frame %d lasts for %d ms and has %g samples of the outlet", i, p.To.Sub(p.From)/station.Millisecond, p.Out.N)
		}
	}
}

// What was learned of the header's restlessness outlives a gap, nothing else does.
func TestReset(t *testing.T) {
	s := scene{rate: 100, noise: 300, header: level(600e3), sag: none, outlet: level(800e3)}
	var f Follower
	s.play(&f, 60, 0.5, 4, func(float64) {})
	was := f
	f.Reset()
	if want := (Follower{Slew: was.Slew, Wander: was.Wander, Gain: was.Gain}); f != want || !was.Rests || was.Slew == 0 || was.Slew > initialSlew/2 {
		t.Errorf("%+v after %+v", f, was)
	}
}

// A header that moves as it did at rest is expected to have moved: the inlet that comes back 12 kPa lower
// rests as soon as a window is straight, not only after two strokes' time.
func TestRestIsSeenOnAMovingHeader(t *testing.T) {
	r := strokes{runs: []span{{30, 33.9}}, sag: 8e3, lift: 4e3}
	s := scene{rate: 100, noise: 300, header: func(t float64) float64 { return 700e3 - 3e3*t }, sag: r.draws, outlet: r.outlet, ends: r.ends(), usual: 3}
	var f Follower
	seen := 0.0
	s.play(&f, 45, 0.1, 9, func(x float64) {
		if f.Rests && x > 31 && seen == 0 {
			seen = x
		}
	})
	if seen < 33.9 || seen > 33.9+0.8+0.3 {
		t.Errorf("rests at %.1f s, the piston came to stand at 33.9", seen)
	}
}
