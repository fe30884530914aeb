package feed

import (
	"slices"
	"testing"
)

// resting returns a follower that has seen the inlet rest for 30 s.
func resting(t *testing.T) (*Follower, *scene) {
	s := &scene{rate: 20, noise: 300, header: level(600e3), sag: none, outlet: level(800e3)}
	var f Follower
	s.play(&f, 30, 0.5, 1, func(float64) {})
	if f.Works() {
		t.Fatal("works at rest")
	}
	return &f, s
}

// on feeds samples of the same rest from one time to another, s.
func (s *scene) on(f *Follower, from, to float64) {
	in, out := s.series(to, 1)
	_, in = in.until(at(from))
	_, out = out.until(at(from))
	c := s.context(from)
	f.Samples(at(from), at(to), in, out, &c)
}

// Strokes 4 s apart whose draw drowns in the noise: the piston travels from the first end on, until half
// an interval after another one is due, and then stood since the last end.
func TestHiddenStrokesWork(t *testing.T) {
	f, s := resting(t)
	last := 30.0
	for _, end := range []float64{32, 36, 40, 44} {
		s.on(f, last, end+0.5)
		f.Stroke(at(end), true)
		last = end + 0.5
		if want := end > 32; f.Works() != want {
			t.Errorf("after the end at %g s: works %v", end, f.Works())
		}
	}
	if f.Began() != at(32) {
		t.Errorf("began at %v, the first end was at %v", f.Began(), at(32))
	}
	if s.on(f, last, 49.9); !f.Works() {
		t.Error("stands before an interval and a half is over")
	}
	if s.on(f, 49.9, 50.1); f.Works() || f.Until() != at(44) {
		t.Errorf("works %v; stands since %v, the last end was at %v", f.Works(), f.Until(), at(44))
	}
	if !f.Rests {
		t.Error("the inlet's rest was given up")
	}
}

// Strokes whose draw was seen, or that lie further apart than the slowest two, tell no travel at a rest.
func TestSeenOrRareStrokesDoNotTravel(t *testing.T) {
	for _, c := range []struct {
		ends   []float64
		hidden bool
	}{{[]float64{32, 36, 40}, false}, {[]float64{32}, true}, {[]float64{32, 93}, true}, {[]float64{36, 36, 32}, true}} {
		f, s := resting(t)
		last := 30.0
		for _, end := range c.ends {
			if end+0.5 > last {
				s.on(f, last, end+0.5)
				last = end + 0.5
			}
			if f.Stroke(at(end), c.hidden); f.Works() {
				t.Errorf("ends %v, hidden %v: works after %g s", c.ends, c.hidden, end)
			}
		}
		if f.EndAt != at(slices.Max(c.ends)) {
			t.Errorf("ends %v: the newest is %v", c.ends, f.EndAt)
		}
	}
}

// A draw between two ends is seen, of the present work, of the one before or since.
func TestDrewSinceEnd(t *testing.T) {
	r := strokes{runs: []span{{8, 11.9}, {20, 23.9}}, sag: 8e3, lift: 4e3}
	s := scene{rate: 100, noise: 300, header: level(600e3), sag: r.draws, outlet: r.outlet, usual: strokeTime}
	for _, c := range []struct {
		end, now float64
		want     bool
	}{
		{5, 7, false},   // rests
		{5, 9, true},    // draws now
		{5, 16, true},   // has drawn
		{13, 16, false}, // the end lies behind it
		{13, 22, true},  // draws again
		{13, 30, true},
		{26, 30, false},
	} {
		var f Follower
		s.ends = []float64{c.end}
		if s.play(&f, c.now, 0.1, 2, func(float64) {}); f.DrewSinceEnd(at(c.now)) != c.want {
			t.Errorf("from the end at %g to %g s: drew %v", c.end, c.now, !c.want)
		}
	}
}

// What the work before drew is not forgotten where the outlet alone shows the present one.
func TestDrewInTheWorkBefore(t *testing.T) {
	r := strokes{runs: []span{{8, 11.9}}, sag: 8e3, lift: 4e3}
	s := scene{rate: 100, noise: 300, header: level(600e3), sag: r.draws, usual: strokeTime}
	s.outlet = func(t float64) float64 { return r.outlet(t) + 3e3*max(0, t-20) }
	for _, c := range []struct {
		end  float64
		want bool
	}{{9, true}, {13, false}} {
		var f Follower
		s.ends = []float64{c.end}
		if s.play(&f, 22, 0.1, 2, func(float64) {}); f.Rests || f.Drew[0] || f.DrewSinceEnd(at(22)) != c.want {
			t.Errorf("from the end at %g s: rests %v, draws %v; drew %v", c.end, f.Rests, f.Drew[0], !c.want)
		}
	}
}
