package balance

import (
	"math"
	"testing"
)

// The course of a header against small steps of the same process: two of 5 s are one of 10 s (Chapman and
// Kolmogorov), and for times short against slopeLasts it is a straight line with (2/3) t³/T of variance.
func TestCourse(t *testing.T) {
	half, whole := course(5), course(10)
	close := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got/want-1) > 1e-9 {
			t.Errorf("%s: %.9g, want %.9g", what, got, want)
		}
	}
	close("keeps", half.keeps*half.keeps, whole.keeps)
	close("ahead", half.ahead+half.ahead*half.keeps, whole.ahead)
	close("slope", half.slope*half.keeps*half.keeps+half.slope, whole.slope)
	close("level", half.level+2*half.ahead*half.cross+half.ahead*half.ahead*half.slope+half.level, whole.level)
	if got, want := course(0.3).level, 2.0/3*0.3*0.3*0.3/slopeLasts; math.Abs(got/want-1) > 0.02 {
		t.Errorf("after 0.3 s %.4g, straight line %.4g", got, want)
	}
}

// A level of variance 4 measured with variance 1 at 10 above it: the textbook's mean 8, variance 0.8. What
// k has in common with it moves along, unless the measurement does not tell k.
func TestUpdate(t *testing.T) {
	for _, tells := range []bool{true, false} {
		s := state{}
		s.P[level][level], s.P[resist][resist] = 4, 9
		s.P[level][resist], s.P[resist][level] = 3, 3
		s.update(row{level: 1}, 10, 1, tells)
		k, v := 6.0, 9-9.0/5
		if !tells {
			k, v = 0, 9
		}
		if math.Abs(s.X[level]-8) > 1e-12 || math.Abs(s.P[level][level]-0.8) > 1e-12 {
			t.Errorf("level %g, variance %g; the textbook has 8 and 0.8", s.X[level], s.P[level][level])
		}
		if math.Abs(s.X[resist]-k) > 1e-12 || math.Abs(s.P[resist][resist]-v) > 1e-12 {
			t.Errorf("tells %v: k %g, variance %g; want %g and %g", tells, s.X[resist], s.P[resist][resist], k, v)
		}
	}
}
