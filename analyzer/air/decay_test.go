package air

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// curve gives n seconds of a standing outlet: 11 bar abs, a leak of rate (1/s), a thermal
// term, and white noise (Pa rms). The model is the one of the fit: what is tested here is
// the fit; that real tanks follow it is tested on recordings.
func curve(n int, rate, theta, tau, noise float64, seed uint64) (t, p []float64) {
	r := rand.New(rand.NewPCG(seed, 1))
	for i := range n {
		s := float64(i)
		t = append(t, s)
		p = append(p, 11e5*math.Exp(-rate*s)*(1+theta*math.Exp(-s/tau))+noise*r.NormFloat64())
	}
	return t, p
}

func TestDecayFindsALeakUnderCoolingAndRewarming(t *testing.T) {
	for _, theta := range []float64{0, 0.05, -0.03} {
		ts, ps := curve(200, 3e-4, theta, 30, 50, 7)
		d := FitDecay(ts, ps, 0)
		if !d.Leak {
			t.Errorf("theta %g: no leak, %+v", theta, d)
			continue
		}
		check(t, "rate", d.Rate, 3e-4, 0.1)
	}
}

// A 90 % band must hold the truth about nine times in ten.
func TestDecayBandHoldsTheTruth(t *testing.T) {
	held := 0
	for seed := range uint64(200) {
		ts, ps := curve(200, 3e-4, 0.05, 30, 50, seed)
		if d := FitDecay(ts, ps, 0); d.Low <= 3e-4 && 3e-4 <= d.High {
			held++
		}
	}
	if held < 165 || held > 198 {
		t.Errorf("the band held the truth %d times in 200", held)
	}
}

func TestThermalRelaxationIsNoLeak(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		theta := rapid.Float64Range(-0.05, 0.2).Draw(rt, "theta")
		tau := rapid.Float64Range(8, 80).Draw(rt, "tau")
		n := rapid.IntRange(60, 240).Draw(rt, "n")
		ts, ps := curve(n, 0, theta, tau, 30, rapid.Uint64().Draw(rt, "seed"))
		if d := FitDecay(ts, ps, 0); d.Leak && d.Rate > 2*DetectionLimit {
			rt.Fatalf("theta %g, tau %g, n %d: called a leak of %.2g of the content a minute", theta, tau, n, d.Rate*60)
		}
	})
}

// A tail of two exponentials (convection) must not pass for a leak either.
func TestSlowTailIsNoLeak(t *testing.T) {
	ts, ps := curve(240, 0, 0.06, 20, 20, 3)
	for i := range ps {
		ps[i] *= 1 + 0.01*math.Exp(-ts[i]/120)
	}
	if d := FitDecay(ts, ps, 0); d.Leak {
		t.Errorf("called a leak: %+v", d)
	}
}

func TestATightTankIsSeenTight(t *testing.T) {
	ts, ps := curve(240, 0, 0.02, 20, 20, 5)
	if d := FitDecay(ts, ps, 0); !d.None || d.Leak {
		t.Errorf("got %+v", d)
	}
}

func TestDemandInTheWindowIsNoLeak(t *testing.T) {
	ts, ps := curve(200, 0, 0, 30, 30, 9)
	for i := range ps {
		if i > 90 {
			ps[i] -= 20e3
		}
	}
	if d := FitDecay(ts, ps, 0); d.Leak {
		t.Errorf("a single draw was called a leak: %+v", d)
	}
}

func TestShapeOfALongFall(t *testing.T) {
	ts, ps := curve(240, 3e-3, 0, 30, 50, 2)
	if d := FitDecay(ts, ps, 0); !d.Leak || d.Shape != ShapeExponential {
		t.Errorf("exponential: %+v", d)
	}
	for i := range ps { // behind a regulator: constant flow
		ps[i] = 11e5 - 1.6e3*ts[i] + (ps[i] - 11e5*math.Exp(-3e-3*ts[i]))
	}
	if d := FitDecay(ts, ps, 0); d.Shape == ShapeExponential {
		t.Errorf("straight: %+v", d)
	}
}

func TestDecayIsIndependentOfTimeOrigin(t *testing.T) {
	ts, ps := curve(120, 3e-4, 0.03, 25, 40, 11)
	a := FitDecay(ts, ps, 0)
	for i := range ts {
		ts[i] += 1e6
	}
	if b := FitDecay(ts, ps, 0); math.Abs(a.Rate-b.Rate) > 1e-9 {
		t.Errorf("rate %g at origin 0, %g at origin 1e6", a.Rate, b.Rate)
	}
}

func TestDecayOfBadInput(t *testing.T) {
	ts, ps := curve(100, 0, 0, 1, 0, 1)
	ps[50] = math.NaN()
	for name, d := range map[string]Decay{"short": FitDecay(ts[:5], ps[:5], 0), "nan": FitDecay(ts, ps, 0), "unequal": FitDecay(ts, ps[:99], 0)} {
		if d.Leak || d.None || d.Reason == "" {
			t.Errorf("%s: %+v", name, d)
		}
	}
}

func BenchmarkFitDecay(b *testing.B) {
	ts, ps := curve(240, 3e-4, 0.05, 30, 50, 7)
	b.ReportAllocs()
	for b.Loop() {
		FitDecay(ts, ps, 0)
	}
}
