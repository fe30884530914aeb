package rules

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Upper critical values of Student's t. Those of three digits: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2. For one
// and two degrees of freedom the distribution has an inverse in closed form: tan(pi (1/2 - a)) and (1 - 2a)/sqrt(2a (1 - a)).
func TestStudentUpper(t *testing.T) {
	a := hourAlpha
	for _, c := range []struct {
		alpha   float64
		degrees int
		want    float64
		within  float64
	}{
		{0.05, 1, 6.314, 6e-4}, {0.025, 2, 4.303, 6e-4}, {0.025, 4, 2.776, 6e-4}, {0.025, 10, 2.228, 6e-4}, {0.01, 7, 2.998, 6e-4},
		{0.001, 3, 10.215, 6e-3}, {0.001, 4, 7.173, 6e-3}, {0.001, 9, 4.296, 6e-3}, {0.001, 14, 3.787, 6e-3},
		{a, 1, math.Tan(math.Pi * (0.5 - a)), 1e-6}, {a, 2, (1 - 2*a) / math.Sqrt(2*a*(1-a)), 1e-9},
	} {
		if got := studentUpper(c.alpha, c.degrees); math.Abs(got-c.want) > c.within {
			t.Errorf("t of %d degrees at %g is %.5f, published %.5f", c.degrees, c.alpha, got, c.want)
		}
	}
	if !math.IsInf(studentUpper(a, 0), 1) {
		t.Error("no degrees of freedom have a limit")
	}
}

// The factor for one more observation after five, 95 % on both sides, is 3.04: Hahn and Meeker, Statistical Intervals, table of
// prediction intervals for a normal distribution.
func TestOneMoreObservation(t *testing.T) {
	if got := studentUpper(0.025, 4) * math.Sqrt(1+1./5); math.Abs(got-3.04) > 5e-3 {
		t.Errorf("the factor is %.4f, published 3.04", got)
	}
}

// The limit is passed by chance once in a station's year where roots are normal, and less often where strokes vary less than the
// least spread. A count of 100 is off by more than 40 once in 16,000 times (Poisson). Production that differs from day to day by a
// fifth (gamma) has a heavier upper tail, and its hours come in clusters, a finding each: 144 hours in the hundred years of this seed.
func TestOnceInAYear(t *testing.T) {
	const years, days = 100, 365
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name         string
		least, most  int
		hour, perDay func() float64
	}{
		{"normal root, 3 strokes wide", 60, 140, func() float64 { return sq(math.Max(0, 25+3*r.NormFloat64())) - 3./8 }, nil},
		{"an even beat", 0, 0, func() float64 { return 600 + float64(r.IntN(3)) }, nil},
		{"independent strokes", 0, 140, func() float64 { return poisson(r, 300) }, nil},
		{"days that differ by a fifth", 0, 240, func() float64 { return 300 }, func() float64 { return gamma25(r) }},
	} {
		above := 0
		var hours [24]likeHour
		for range years * days {
			scale := 1.
			if c.perDay != nil {
				scale = c.perDay()
			}
			for h := range hours {
				rate := math.Round(scale * c.hour())
				if _, limit, ok := hours[h].limit(); ok && hours[h].N == likeDepth && rate > limit {
					above++
				}
				hours[h].learn(int32(rate))
			}
		}
		t.Logf("%s: %d hours above the limit in %d station-years", c.name, above, years)
		if above < c.least || above > c.most {
			t.Errorf("%s: %d hours above the limit in %d station-years, expected %d to %d", c.name, above, years, c.least, c.most)
		}
	}
}

func sq(x float64) float64 { return x * x }

// poisson returns a count of independent events, by the normal law of its root (Anscombe), which holds for means this large.
func poisson(r *rand.Rand, mean float64) float64 {
	return sq(math.Sqrt(mean+3./8)+r.NormFloat64()/2) - 3./8
}

// gamma25 returns a gamma variate of mean 1 and standard deviation 1/5: the mean of 25 exponential ones.
func gamma25(r *rand.Rand) float64 {
	sum := 0.
	for range 25 {
		sum += r.ExpFloat64()
	}
	return sum / 25
}
