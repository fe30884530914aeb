package motion

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// surveyedScene plays a scene without its counter, tells the dater of those strokes that keep says, and returns the doubt.
func surveyedScene(s *scene, keep func(i int) bool) float64 {
	var d Dater
	hint, n, next := -1, 0, 0
	for slot := 0.5; slot < s.ends[len(s.ends)-1]; slot += 0.5 {
		var in, out Series
		for ; float64(n)/s.rate < slot; n++ {
			x := float64(n) / s.rate
			p1, p2 := s.pressures(x, &hint)
			in.T, in.V = append(in.T, at(x)), append(in.V, p1+100*math.Sin(1e4*x))
			out.T, out.V = append(out.T, at(x)), append(out.V, p2+100*math.Cos(1.3e4*x))
		}
		d.Samples(in, out, &Context{Step: 1 / s.rate, Header: header, Works: true, Usual: 0.5})
		d.Survey(0.5, 0.5)
		for ; next < len(s.ends) && s.ends[next] < slot-0.5; next++ {
			if keep(next) {
				d.Found(at(s.ends[next]))
			}
		}
	}
	return d.Doubt()
}

// All ends found leave little doubt. One in three that is not found looks like the two that are, so the
// doubt is half: one missed for two found. Ends told where there are none look like nothing.
func TestDoubtCountsWhatWasMissed(t *testing.T) {
	s := runs(scene{rate: 50, turn: 0.05, sag: 8e3, lift: 6e3}, 200, 0.5, 0.5, none)
	if all := surveyedScene(s, func(int) bool { return true }); all > 0.1 {
		t.Errorf("all found: doubt %.2f", all)
	}
	if some := surveyedScene(s, func(i int) bool { return i%3 != 0 }); math.Abs(some-0.5) > 0.2 {
		t.Errorf("two of three found: doubt %.2f, closed form 0.5", some)
	}
}

// Without an end nothing is doubted, nor with a few.
func TestDoubtNeedsEnds(t *testing.T) {
	var d Dater
	d.Survey(0.5, 0.5)
	d.Found(t0)
	d.Survey(0.5, 0.5)
	if d.Doubt() != 0 {
		t.Errorf("doubt %g after one end", d.Doubt())
	}
	d.Census.Found, d.Census.Doubted = 50, 10
	if got := d.Doubt(); got != 0.2 {
		t.Errorf("doubt %g, 10 of 50", got)
	}
	d.Pass()
	if d.Census.Next != d.N || d.Census.From != station.Instant(0) {
		t.Error("frames are not passed over")
	}
}
