package signal

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

func count(n int) []float64 {
	t := make([]float64, n)
	for i := range t {
		t[i] = float64(i)
	}
	return t
}

// EPA QA/G-9S, eleven yearly values with ties: S 22, Var 155.33, Z 1.685 (seen), p 0.0920
// (computed); Sen's slope 1.0 (seen).
func TestMannKendallOnTheEPAExample(t *testing.T) {
	y := []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}
	s, ok := Sen(count(11), y, nil, 1)
	if !ok || s.S != 22 || s.Pairs != 55 {
		t.Fatalf("%+v", s)
	}
	near(t, "Var", s.Var, 155.33, 1e-4)
	near(t, "Z", s.Z(1), 1.685, 1e-3)
	near(t, "p", s.P(1), 0.0920, 1e-3)
	near(t, "slope", s.Value, 1, 1e-12)
}

// 1..100: S 4950, Var 112750, Z 14.7386999821 (seen).
func TestMannKendallOfAStraightLine(t *testing.T) {
	k, ok := MannKendall(count(100), count(100), nil)
	if !ok || k.S != 4950 || k.Tau != 1 {
		t.Fatalf("%+v", k)
	}
	near(t, "Var", k.Var, 112750, 1e-12)
	near(t, "Z", k.Z(1), 14.7386999821, 1e-11)
}

// Without ties tau is gonum's.
func TestTauIsThatOfGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := 5; n < 60; n += 9 {
		y := make([]float64, n)
		for i := range y {
			y[i] = r.NormFloat64() + 0.03*float64(i)
		}
		k, _ := MannKendall(count(n), y, nil)
		near(t, "tau", k.Tau, stat.Kendall(count(n), y, nil), 1e-12)
	}
}

// Two groups far apart, each without order in itself by turns, hide their slope from the
// plain test and not from the grouped one; their variance is the sum.
func TestGroupsAreComparedWithinThemselves(t *testing.T) {
	var x, y []float64
	var g []int
	for i := range 40 {
		x, g = append(x, float64(i)), append(g, i%2)
		y = append(y, 0.5*float64(i)+1000*float64(i%2)*float64(1-2*(i/20)))
	}
	s, ok := Sen(x, y, []int{}, 1)
	if ok {
		t.Errorf("groups of another length: %+v", s)
	}
	for i := range g {
		g[i] += 2 * (i / 20)
	}
	s, ok = Sen(x, y, g, 1)
	near(t, "slope", s.Value, 0.5, 1e-9)
	if one, _ := MannKendall(count(10), count(10), nil); !ok || s.Tau != 1 || s.Pairs != 4*45 || math.Abs(s.Var-4*one.Var) > 1e-9 {
		t.Errorf("%+v", s)
	}
	if p, _ := Sen(x, y, nil, 1); math.Abs(p.Value-0.5) < 0.1 {
		t.Errorf("without groups the slope is %g: the test shows nothing", p.Value)
	}
}

// Nothing that varies is no trend and no NaN.
func TestKendallOfNothing(t *testing.T) {
	k, ok := MannKendall(count(5), make([]float64, 5), nil)
	if !ok || k.P(1) != 1 || k.Var != 0 || !math.IsNaN(k.Tau) {
		t.Errorf("%+v", k)
	}
	for _, n := range []int{0, 1} {
		if _, ok := Sen(count(n), count(n), nil, 1); ok {
			t.Errorf("%d values have a slope", n)
		}
	}
	if s, ok := Sen(count(3), []float64{1, 2, 4}, nil, 1); !ok || !math.IsInf(s.High, 1) || !math.IsInf(s.Low, -1) {
		t.Errorf("three values have an interval: %+v", s)
	}
}

// A straight line has no band, and the interval of eleven values with noise holds the slope nine
// times in ten.
func TestSenOfFewValues(t *testing.T) {
	if s, ok := Sen(count(11), []float64{0, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30}, nil, 1); !ok || s.Value != 3 || s.Low != 3 || s.High != 3 {
		t.Errorf("a straight line: %+v", s)
	}
	held := 0
	for seed := range uint64(500) {
		r := rand.New(rand.NewPCG(seed, 8))
		y := count(11)
		for i := range y {
			y[i] = 0.5*y[i] + r.NormFloat64()
		}
		if s, _ := Sen(count(11), y, nil, 1); s.Low <= 0.5 && 0.5 <= s.High {
			held++
		}
	}
	if held < 430 || held > 475 {
		t.Errorf("the 90 %% interval held the truth %d times in 500", held)
	}
}

// autoregressive gives n values with a slope a step, noise of 1 and correlation rho.
func autoregressive(r *rand.Rand, n int, slope, rho float64) []float64 {
	y := make([]float64, n)
	e := r.NormFloat64()
	for i := range y {
		y[i] = slope*float64(i) + e
		e = rho*e + math.Sqrt(1-rho*rho)*r.NormFloat64()
	}
	return y
}

// The interval holds the slope nine times in ten, and the test calls noise at the level
// that it says; of values that follow each other only with the inflation.
func TestSenHoldsTheTruth(t *testing.T) {
	const runs, n = 600, 56
	for _, c := range []struct {
		rho       float64
		inflated  bool
		low, high float64 // share of runs in which the interval holds
		most      float64 // share of runs in which noise is called a trend at 1 %
	}{
		{0, false, 0.87, 0.93, 0.02}, {0, true, 0.87, 0.95, 0.02}, {0.4, true, 0.82, 0.95, 0.04},
	} {
		r := rand.New(rand.NewPCG(3, 4))
		held, called := 0, 0
		for range runs {
			y := autoregressive(r, n, 0, c.rho)
			inflation := 1.0
			if c.inflated {
				l, _ := TheilSen(count(n), y)
				e := make([]float64, n)
				for i := range e {
					e[i] = y[i] - l.Intercept - l.Slope*float64(i)
				}
				inflation = Inflation(e)
			}
			s, _ := Sen(count(n), y, nil, inflation)
			if s.Low <= 0 && 0 <= s.High {
				held++
			}
			if s.P(inflation) < 0.01 {
				called++
			}
		}
		h, k := float64(held)/runs, float64(called)/runs
		t.Logf("correlation %g, inflated %v: held %.3f, called %.3f", c.rho, c.inflated, h, k)
		if h < c.low || h > c.high || k > c.most {
			t.Errorf("correlation %g: the interval held %.3f, noise was called %.3f of %d", c.rho, h, k, runs)
		}
	}
}

// The crossing's interval holds the time at which the true line meets the limit nine times
// in ten, also downwards.
func TestCrossingHoldsTheTruth(t *testing.T) {
	const runs, n = 600, 60
	r := rand.New(rand.NewPCG(5, 6))
	for _, dir := range []float64{1, -1} {
		held := 0
		for range runs {
			y := autoregressive(r, n, dir*0.08, 0)
			s, _ := Sen(count(n), y, nil, 1)
			mid := float64(n-1) / 2
			rest := make([]float64, n)
			for i := range rest {
				rest[i] = y[i] - s.Value*(float64(i)-mid)
			}
			level := Median(rest)
			d := z90 * math.Sqrt(math.Pi/2) * spread(rest, level) / math.Sqrt(n)
			_, early, late, ok := s.Crossing(level, d, dir*8)
			if truth := 100 - mid; ok && early <= truth && truth <= late {
				held++
			}
		}
		if held < 510 || held > 580 {
			t.Errorf("direction %g: held the truth %d times in %d", dir, held, runs)
		}
	}
}

func TestCrossingByHand(t *testing.T) {
	s := Slope{Value: 2, Low: 1, High: 4}
	if at, early, late, ok := s.Crossing(10, 0, 30); !ok || at != 10 || early != 5 || late != 20 {
		t.Errorf("%g (%g to %g), %v; want 10 (5 to 20)", at, early, late, ok)
	}
	if _, early, late, _ := (&Slope{Value: -2, Low: -4, High: 1}).Crossing(30, 0, 10); early != 5 || !math.IsInf(late, 1) {
		t.Errorf("from above: %g to %g, want 5 to never", early, late)
	}
	for _, limit := range []float64{5, 10} {
		if _, _, _, ok := s.Crossing(10, 0, limit); ok {
			t.Errorf("a rising line meets %g from 10", limit)
		}
	}
}
