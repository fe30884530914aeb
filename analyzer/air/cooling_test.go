package air

import (
	"math"
	"math/rand/v2"
	"testing"
)

// stand gives a minute of a standing tank by the closed form: a leak of rate (1/s) and air that
// cools by theta with tau (s), with white noise of sigma as a share of the pressure.
func stand(rng *rand.Rand, seconds int, rate, theta, tau, sigma float64) (t, p []float64) {
	for i := range seconds {
		s := float64(i)
		x := -rate*s + math.Log(1+theta*math.Exp(-s/tau))
		t = append(t, s)
		p = append(p, 1.1e6*math.Exp(x+sigma*rng.NormFloat64()))
	}
	return t, p
}

// Against the closed form: twenty stands of 70 s tell the leak together within 5 %, whatever the
// tank's time constant and however much each recharge has heated; alone few do where the tank
// cools slowly.
func TestCooling(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const rate = 1e-4
	for _, tau := range []float64{12, 25, 45} {
		var c Cooling
		alone := 0
		for range 20 {
			x, p := stand(rng, 70, rate, 0.003+0.003*rng.Float64(), tau, 6e-5)
			if _, ok := c.Add(x, p); !ok {
				t.Fatalf("tau %g: a quiet stand was refused", tau)
			}
			if d := FitDecay(x, p, 0); d.Leak && math.Abs(d.Rate/rate-1) < 0.05 {
				alone++
			}
		}
		got, half, ok := c.Told()
		t.Logf("tau %g: %.3g ± %.2g 1/s, truth %.3g; of single stands %d of 20 within 5 %%", tau, got, half, rate, alone)
		if tau > 40 && alone > 10 {
			t.Errorf("tau %g: %d of 20 stands tell the leak alone: the test shows nothing", tau, alone)
		}
		if !ok || math.Abs(got/rate-1) > 0.05 || math.Abs(got-rate) > 1.5*half+0.01*rate {
			t.Errorf("tau %g: rate %.4g ± %.2g, %v", tau, got, half, ok)
		}
	}
}

// A stand in which something is drawn is refused; a tank without a leak tells none.
func TestCoolingRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var c Cooling
	x, p := stand(rng, 80, 1e-4, 0.004, 30, 6e-5)
	for i := 40; i < 80; i++ {
		p[i] *= 0.995 // a cylinder was filled
	}
	if _, ok := c.Add(x, p); ok {
		t.Error("a stand with a step was taken")
	}
	for range 20 {
		x, p := stand(rng, 80, 0, 0.004, 30, 6e-5)
		c.Add(x, p)
	}
	if rate, half, ok := c.Told(); ok {
		t.Errorf("a tight tank leaks %g ± %g", rate, half)
	}
}
