package balance

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The root against ISO 6358's h sqrt(1 - y²), y = (p/h - b)/(1 - b): its closed form is for small sags, 1 %
// at a tenth of the pressure.
func TestRoot(t *testing.T) {
	const h, b = 700e3, assumedB
	for _, sag := range []float64{1e-4, 1e-3, 1e-2, 0.05, 0.1} {
		y := (1 - sag - b) / (1 - b)
		want := math.Sqrt(1-b) * h * math.Sqrt(1-y*y)
		if got := root(h, h*(1-sag)); math.Abs(got/want-1) > 0.01 {
			t.Errorf("sag of %g: %.5g, ISO 6358 %.5g", sag, got, want)
		}
		if up, down := root(h, h-sag*h), root(h, h+sag*h); up != -down {
			t.Errorf("sag of %g: %g against %g above the header", sag, up, down)
		}
	}
}

// Noise adds nothing to a pause, whatever it is: over 10^5 samples its sum is zero within four standard
// errors, each sqrt(2 h) E|n|^½ = sqrt(2 h sigma) 0.822^½ in root mean square (E|z| = sqrt(2/pi) = 0.798, the variance of
// a signed root).
func TestNoiseAddsNothingToAPause(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 5))
	const h, n, noise = 700e3, 1e5, 500.0
	sum := 0.0
	for range int(n) {
		sum += root(h, h+noise*rng.NormFloat64())
	}
	if limit := 4 * math.Sqrt(n*2*h*noise*0.798); math.Abs(sum) > limit {
		t.Errorf("noise adds %.4g, four standard errors are %.4g", sum, limit)
	}
}

// Integral and slope against those of the root itself, over a cycle of constant sag: I = root T, and its slope the
// derivative sqrt(2 h)/(2 sqrt(sag)) T and less than a per cent more (h and x move too).
func TestPulled(t *testing.T) {
	const h, sag = 700e3, 10e3
	var c cells
	for i := range 400 {
		c.add(at(float64(i)/100), h-sag)
	}
	d, ok := c.pulled(at(1), at(3), aim{H: h, Sd: 50}, 100)
	if !ok {
		t.Fatal("samples are there")
	}
	if want := 2 * root(h, h-sag); math.Abs(d.I/want-1) > 1e-3 {
		t.Errorf("integral %.5g, root times time %.5g", d.I, want)
	}
	if want := 2 * math.Sqrt(2*h) / (2 * math.Sqrt(sag)); math.Abs(d.Slope/want-1) > 0.02 {
		t.Errorf("slope %.4g, derivative %.4g", d.Slope, want)
	}
	// 50 cells of 40 ms, each of deviation 100/sqrt(4) Pa: sqrt(50) times 0.04 s times the derivative
	if want := math.Sqrt(50) * 0.04 * 50 * math.Sqrt(2*h) / (2 * math.Sqrt(sag)); math.Abs(math.Sqrt(d.Var)/want-1) > 0.05 {
		t.Errorf("deviation %.4g, by the derivative %.4g", math.Sqrt(d.Var), want)
	}
	if _, ok := c.pulled(at(3), at(5), aim{H: h, Sd: 50}, 100); ok {
		t.Error("half of the samples of a cycle are missing, and it is taken")
	}
}
