package motion

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Two normal distributions with the same variances v and means apart by m: Fisher's discriminant is
// normal with means ±D/2 and variance D, where D is the sum of m²/v, and the logarithm of the ratio of
// likelihoods is the discriminant itself.
func TestDiscriminant(t *testing.T) {
	const noise = 500.0
	var s shape
	s.Reach = 4
	rng := rand.New(rand.NewPCG(1, 2))
	draw := func(x *window, end bool) {
		for k := range s.len() {
			x[k] = float32(noise * rng.NormFloat64())
			if end && k%2 == 0 {
				x[k] += 400
			}
		}
	}
	var x window
	for range 4000 {
		draw(&x, false)
		s.away(&x, s.score(&x))
		draw(&x, true)
		s.learn(&x)
	}
	v := noise*noise + leastVar
	d := 9 * 400 * 400 / v // nine values in eighteen are shifted
	// the newest 60 ends leave the means uncertain by their deviation over sqrt(60), in all 18 values: about 18/60
	if got := float64(s.AtEnd.Mean - s.Away.Mean); math.Abs(got-d) > 0.35*d {
		t.Errorf("means are %.2f apart, closed form %.2f", got, d)
	}
	if got := float64(s.Away.Var); math.Abs(got-d) > 0.5*d {
		t.Errorf("variance %.2f, closed form %.2f", got, d)
	}
	mid := (s.AtEnd.Mean + s.Away.Mean) / 2
	if e := s.evidence(mid); math.Abs(e) > 1 {
		t.Errorf("half-way the evidence is %.2f, closed form 0", e)
	}
	if low, high := s.evidence(s.Away.Mean), s.evidence(s.AtEnd.Mean); low > -d/4 || high < d/4 {
		t.Errorf("evidence %.2f where nothing ends and %.2f at ends, closed form ∓%.2f", low, high, d/2)
	}
}

// A cycle of any length keeps the place of each stretch that looks most like an end, in order of time.
func TestCycleIsBounded(t *testing.T) {
	c := cycle{Per: 1}
	for i := range 5000 {
		looks := float32(0)
		if i%977 == 5 {
			looks = 9
		}
		c.add(place{At: float32(i), Looks: looks})
	}
	kept := 0
	for i := range c.N {
		if i > 0 && c.Places[i].At <= c.Places[i-1].At {
			t.Fatalf("place %d at %g behind %g", i, c.Places[i].At, c.Places[i-1].At)
		}
		if c.Places[i].Looks == 9 {
			kept++
		}
	}
	if kept != 6 || c.Per != 32 { // 5, 982, ... 4890; 5000 frames in 256 stretches: 32 frames each
		t.Errorf("%d of 6 kept, in stretches of %d", kept, c.Per)
	}
}

// Places whose shares of the time are normal about 0.44 with a deviation of 0.02, each shown beyond
// doubt, while the draw says nothing: mean and deviation are learned, and the draw's weight goes.
func TestHabitIsLearned(t *testing.T) {
	var h habit
	h.begin()
	rng := rand.New(rand.NewPCG(3, 3))
	whole := place{At: 1, Worked: 1, Drew: 1}
	for range 400 {
		p := []place{{At: float32(0.44 + 0.02*rng.NormFloat64()), Drew: rng.Float32()}}
		p[0].Worked = p[0].At
		likely := []float64{1}
		h.judge(p, &whole, likely)
		h.learn(p, &whole, likely)
	}
	time, draw := &h.Sums[0], &h.Sums[2]
	mean := time.X / time.N
	sd := math.Sqrt(time.XX/time.N - mean*mean)
	if math.Abs(mean-0.44) > 0.01 || sd > 0.03 || sd < 0.013 {
		t.Errorf("mean %.3f, deviation %.3f", mean, sd)
	}
	if share := draw.N / h.all(); share > 0.1 {
		t.Errorf("the draw, which says nothing, weighs %.2f", share)
	}
}

// The likeliest place is one of noise; three that agree within what counts as right weigh more together.
func TestDensest(t *testing.T) {
	among := []place{{At: 0.1}, {At: 0.5}, {At: 0.52}, {At: 0.54}, {At: 0.9}}
	if got := densest(among, []float64{0.35, 0.2, 0.2, 0.2, 0.05}); math.Abs(got-0.52) > 1e-6 {
		t.Errorf("at %.3f, the mean of the three is 0.52", got)
	}
}
