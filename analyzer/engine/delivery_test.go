package engine

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// Against the closed form eta = 0.97 - 0.08 ((p2/p1)^(1/kappa) - 1), with counts that are off by
// up to half a stroke: the dead volume is told where the ratios differ clearly, and not where all
// are alike.
func TestRatioLine(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, c := range []struct {
		low, high float64
		ok        bool
	}{{0.2, 0.8, true}, {0.4, 0.45, false}} {
		var l ratioLine
		for range 300 {
			f := c.low + (c.high-c.low)*rng.Float64()
			l.add(f, (0.97-0.08*f)*(1+0.5*(rng.Float64()-0.5)/20), 20)
		}
		got, loss, half, ok := l.slope()
		t.Logf("%g..%g: c %.3f ± %.3f, loss %.3f, %v", c.low, c.high, got, half, loss, ok)
		if ok != c.ok {
			t.Errorf("%g..%g: told %v", c.low, c.high, ok)
		}
		if ok && (math.Abs(got-0.08) > 1.5*half || math.Abs(loss-0.03) > 0.01 || half > 0.03) {
			t.Errorf("c %.3f ± %.3f, loss %.3f; truth 0.08 and 0.03", got, half, loss)
		}
	}
}

// Rounds of closed form, of a tank of 20 L and 0.4 L a stroke, one in five with something drawn:
// the drawn ones are sorted out and the rest give the delivery within 2 %.
func TestTogether(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	var rounds []quietRound
	at := t0
	for i := range 25 {
		litres := 2 + 2*rng.Float64()
		n := math.Round(litres/0.4 + rng.Float64() - 0.5)
		q := quietRound{At: at, Air: litres * 1e-3 / 20e-3, Strokes: n, Plain: n * 0.4e-3, Swept: n * 0.42e-3, Chained: i > 0}
		if i%5 == 2 {
			q.Strokes, q.Plain, q.Swept = n+8, (n+8)*0.4e-3, (n+8)*0.42e-3
		}
		rounds = append(rounds, q)
		at = at.Add(100 * station.Second)
	}
	sortOut(rounds, 1.6)
	for i := range rounds {
		if rounds[i].Out != (i%5 == 2) {
			t.Errorf("round %d sorted out: %v", i, rounds[i].Out)
		}
	}
	d := together(rounds)
	if x := 20e-3 * d.Air / d.Strokes / 0.4e-3; math.Abs(x-1) > 0.02 || d.Band < 0.01 || d.Band > 0.1 {
		t.Errorf("delivery %.3f of the truth, band %.3f", x, d.Band)
	}
}

// The inverse times the matrix is one.
func TestInvert3(t *testing.T) {
	a := [3][3]float64{{4, 1, 0.5}, {1, 3, -0.2}, {0.5, -0.2, 2}}
	inv, ok := invert3(a)
	if !ok {
		t.Fatal("not inverted")
	}
	for i := range 3 {
		for j := range 3 {
			x := 0.0
			for k := range 3 {
				x += a[i][k] * inv[k][j]
			}
			if want := map[bool]float64{true: 1}[i == j]; math.Abs(x-want) > 1e-12 {
				t.Errorf("element %d %d is %g", i, j, x)
			}
		}
	}
	if _, ok := invert3([3][3]float64{}); ok {
		t.Error("nothing was inverted")
	}
}

// metered gives invented rows with a flow meter that reads once a second.
func metered(seconds int) []sample {
	var out []sample
	last := station.Instant(0)
	for _, r := range invented(seconds, true) {
		if r.c == station.OutletPressure {
			r.v += 133 * float64(r.t.Sub(t0)) * 1e-9 // or it would fall off set
		}
		out = append(out, r)
		if s := r.t.Floor(station.Second); s != last && r.c == station.InletPressure {
			last = s
			flow := 0.0
			if r.t.Sub(t0)/station.Second%30 < 10 {
				flow = 4.9e-3
			}
			out = append(out, sample{station.InletFlow, r.t, flow})
		}
	}
	return out
}

// With a meter at the inlet results do not depend on blocks, and a restored engine goes on as the
// one that was saved.
func TestMeteredResultsDoNotDependOnBlocks(t *testing.T) {
	rows := metered(1000)
	var first recorder
	e := New(testPlate(), &first)
	run(e, rows, 1)
	e.Flush()
	if r := e.Est[station.MeterRatio]; !r.Known() {
		t.Fatalf("nothing was learned of the meter: %s", r.Reason)
	}
	for seed := uint64(2); seed < 5; seed++ {
		var again recorder
		e := New(testPlate(), &again)
		run(e, rows, seed)
		e.Flush()
		same(t, "other blocks", &first, &again)
	}
	var whole, after recorder
	e = New(testPlate(), &recorder{})
	run(e, rows[:len(rows)/2], 1)
	var b bytes.Buffer
	if err := e.Save(&b); err != nil {
		t.Fatal(err)
	}
	f, err := Restore(&b, &after)
	if err != nil {
		t.Fatal(err)
	}
	e.obs = &whole
	for _, g := range []*Engine{e, f} {
		run(g, rows[len(rows)/2:], 3)
		g.Flush()
	}
	same(t, "restored", &whole, &after)
}

// A weight of the measurement that grows with its distance from the assumption.
func TestWeigh(t *testing.T) {
	both := 0.06 * 0.03 / math.Hypot(0.06, 0.03) // inverse variances add
	if eta, band := weigh(1, 0.06, 0.03); eta != 1 || math.Abs(band-both) > 1e-12 {
		t.Errorf("as assumed: %g ± %g", eta, band)
	}
	if eta, _ := weigh(1.02, 0.06, 0.03); math.Abs(eta-1.004) > 1e-12 {
		t.Errorf("within both bands, by inverse variance: %g", eta)
	}
	if eta, _ := weigh(0.8, 0.06, 0.03); math.Abs(eta-0.8) > 0.015 {
		t.Errorf("a fifth less is %g", eta)
	}
}
