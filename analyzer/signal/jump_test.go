package signal

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// Montgomery & Runger 16-8 (seen): target 99, K 1, H 10: the highest sums are 2.0 above and
// 3.2 below (the second value), and nothing is called.
func TestCusumThatStaysQuiet(t *testing.T) {
	x := []float64{102, 94.8, 98.3, 98.4, 102, 98.5, 99, 97.7, 100, 98.1, 101.3, 98.7, 101.1, 98.4, 97, 96.7, 100.3, 101.4, 97.2, 101}
	c := CusumOf(x, 99, 1, 10)
	near(t, "highest above", Quantile(c.High, 1), 2.0, 1e-9)
	near(t, "highest below", Quantile(c.Low, 1), 3.2, 1e-9)
	near(t, "the second below", c.Low[1], 3.2, 1e-9)
	if c.At != -1 {
		t.Errorf("called at %d", c.At)
	}
}

// Montgomery, table 9.1 (data from memory, sums computed): mean 10, K 0.5, H 5: called at
// the 29th value, where the upper sum is 5.28 and has run for 7 values.
func TestCusumThatCalls(t *testing.T) {
	x := []float64{9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52,
		10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52}
	c := CusumOf(x, 10, 0.5, 5)
	if c.At != 28 || !c.Up || c.At-c.Since+1 != 7 {
		t.Fatalf("called at %d since %d, up %v", c.At, c.Since, c.Up)
	}
	near(t, "sum", c.High[28], 5.28, 1e-9)
	mirror := make([]float64, len(x))
	for i, v := range x {
		mirror[i] = 20 - v
	}
	if m := CusumOf(mirror, 10, 0.5, 5); m.At != c.At || m.Since != c.Since || m.Up {
		t.Errorf("upside down: %+v", m)
	}
}

// nile is the yearly flow of the Nile at Aswan, 1871 to 1970, 1e8 m³ (from memory; that the
// two means come out confirms it).
var nile = []float64{1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140, 1100, 1210,
	1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764,
	821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874,
	848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740}

// The flow changed after 1898: means 1097.75 and 849.97 (seen, computed).
func TestJumpOfTheNile(t *testing.T) {
	j, ok := FindJump(count(100), nile, nil)
	if !ok || j.At != 28 || j.P != 0.001 {
		t.Fatalf("at %d, F %.1f, p %g", j.At, j.F, j.P)
	}
	near(t, "mean before", stat.Mean(nile[:j.At], nil), 1097.75, 1e-12)
	near(t, "mean behind", stat.Mean(nile[j.At:], nil), 849.97, 1e-5)
	if j.Size > -150 {
		t.Errorf("size %g", j.Size)
	}
}

// weeks gives days with weekday levels, a slope a day, noise of 1 and a jump.
func weeks(r *rand.Rand, n int, slope float64, at int, size float64) (t, y []float64, g []int) {
	for i := range n {
		v := slope*float64(i) + r.NormFloat64()
		if i%7 >= 5 {
			v -= 8
		}
		if i >= at {
			v += size
		}
		t, y, g = append(t, float64(i)), append(y, v), append(g, i%7)
	}
	return t, y, g
}

// The best place is that of least squares over all models, done the slow way.
func TestJumpIsTheBestOfAllPlaces(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 5 {
		x, y, _ := weeks(r, 40, 0.05, 25, 3)
		g := make([]int, len(x))
		m, ok := newJumpModel(x, members(g, len(x)))
		if !ok {
			t.Fatal("no model")
		}
		got := m.best(y)
		best, at := math.Inf(1), 0
		for k := JumpEdge; k <= len(x)-JumpEdge; k++ {
			if rss := rssWithJump(x, y, k); rss < best {
				best, at = rss, k
			}
		}
		var rss float64
		for _, e := range got.Residuals {
			rss += e * e
		}
		near(t, "sum of squares", rss, best, 1e-9)
		if got.At != at {
			t.Errorf("at %d, the best is %d", got.At, at)
		}
	}
}

// rssWithJump fits level, slope and a jump at k by eliminating the jump: the two parts have
// one slope and a mean each.
func rssWithJump(x, y []float64, k int) float64 {
	var sxx, sxy, syy float64
	for _, p := range [][2]int{{0, k}, {k, len(x)}} {
		mx, my := stat.Mean(x[p[0]:p[1]], nil), stat.Mean(y[p[0]:p[1]], nil)
		for i := p[0]; i < p[1]; i++ {
			sxx += (x[i] - mx) * (x[i] - mx)
			sxy += (x[i] - mx) * (y[i] - my)
			syy += (y[i] - my) * (y[i] - my)
		}
	}
	return syy - sxy*sxy/sxx
}

// Jumps of four standard deviations in eight weeks with weekdays and a slope are found to the
// day or the next one; slopes without one and noise, also with a wild value, are not called.
func TestJumpsAreFoundAndNotMadeUp(t *testing.T) {
	const runs = 300
	r := rand.New(rand.NewPCG(9, 10))
	near1, called, wild := 0, 0, 0
	for i := range runs {
		at := 10 + i%36
		x, y, g := weeks(r, 56, 0.05, at, 4)
		if j, ok := FindJump(x, y, g); ok && j.P <= 0.01 && j.At >= at-1 && j.At <= at+1 {
			near1++
		}
		x, y, g = weeks(r, 56, 0.1, 99, 0)
		if j, _ := FindJump(x, y, g); j.P <= 0.01 {
			called++
		}
		y[i%56] += 40
		if j, _ := FindJump(x, y, g); j.P <= 0.01 {
			wild++
		}
	}
	t.Logf("of %d: found within a day %d; called without one %d, with a wild value %d", runs, near1, called, wild)
	if near1 < runs*93/100 || called > runs*3/100 || wild > runs*3/100 {
		t.Errorf("of %d: found within a day %d; called without one %d, with a wild value %d", runs, near1, called, wild)
	}
}

// Values that follow each other wander; the inflation keeps most of that from being called.
func TestWanderingIsSeldomAJump(t *testing.T) {
	const runs = 300
	r := rand.New(rand.NewPCG(11, 12))
	called := 0
	for range runs {
		if j, _ := FindJump(count(84), autoregressive(r, 84, 0, 0.4), nil); j.P <= 0.01 {
			called++
		}
	}
	if called > runs*6/100 {
		t.Errorf("%d of %d wandering series were called a jump", called, runs)
	}
}

func TestJumpsThatCannotBeTold(t *testing.T) {
	for n := range 15 {
		if _, ok := FindJump(count(n), count(n), nil); ok {
			t.Errorf("%d values have a jump", n)
		}
	}
	if _, ok := FindJump(count(60), count(60), alone(60)); ok {
		t.Error("each value a group of its own has a jump")
	}
	if j, ok := FindJump(count(60), make([]float64, 60), nil); ok && j.P < 1 {
		t.Errorf("nothing that varies has a jump: %+v", j)
	}
	if j, ok := FindJump(count(60), count(60), nil); ok && math.Abs(j.Size) > 1e-6 {
		t.Errorf("a straight line has a jump of %g", j.Size)
	}
}

func alone(n int) []int {
	g := make([]int, n)
	for i := range g {
		g[i] = i
	}
	return g
}
