package stroke

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// drawn is a made-up station: strokes of the given length, s, in runs with pauses, whose
// inlet jumps up as a stroke ends and whose outlet rises in the second half of each. It is
// invented to test the detector, not to look like a booster.
type drawn struct {
	stroke, run, pause float64
	sag, tooth, noise  float64
}

// feed gives the traces to the detector at so many samples a second for some seconds, and
// returns when strokes ended.
func (d drawn) feed(e *Ends, p *Pace, rate, seconds float64, found func(station.Instant, int)) (ends []float64) {
	r := rand.New(rand.NewPCG(7, 7))
	phase, out := 0.0, 900e3
	e.Ref = 600e3
	for n := 0; float64(n) < seconds*rate; n++ {
		t := float64(n) / rate
		in := 600e3
		if math.Mod(t, d.run+d.pause) < d.run {
			was := phase
			phase += 1 / (d.stroke * rate)
			if math.Floor(phase) > math.Floor(was) {
				ends = append(ends, t)
			}
			f := phase - math.Floor(phase)
			in -= d.sag * (0.6 + 0.4*f)
			if f > 0.4 {
				out += d.tooth / (0.6 * d.stroke * rate)
			}
			out -= d.tooth / (d.stroke * rate)
		}
		at := station.Instant(t * 1e9)
		e.Inlet([]station.Instant{at}, []float64{in + d.noise*r.NormFloat64()})
		e.Out.Take([]station.Instant{at}, []float64{out + d.noise*r.NormFloat64()})
		if n%50 != 49 {
			continue
		}
		e.In.TakeNoise(false)
		e.Out.TakeNoise(false)
		e.Search(p.Full, 0, false, p.Offer)
		for {
			c, ok := p.Ripe(at, e.Idle, e.Drawing, e.Drawn)
			if !ok {
				break
			}
			if k := p.Strokes(&c, math.Hypot(e.J, e.K)); k > 0 {
				e.Learn(&c)
				found(c.At, k)
			}
		}
	}
	return ends
}

// Every stroke is found once and near its time, slow and fast, through pauses in the
// middle of strokes, at three rates.
func TestEndsAreFound(t *testing.T) {
	for _, c := range []struct {
		name string
		drawn
		rate float64
	}{
		{"steady", drawn{0.45, 1e9, 0, 15e3, 6e3, 500}, 100},
		{"fast", drawn{0.15, 1e9, 0, 15e3, 4e3, 500}, 200},
		{"slow", drawn{3, 1e9, 0, 8e3, 5e3, 500}, 50},
		{"coarse", drawn{0.5, 1e9, 0, 15e3, 6e3, 300}, 20},
		{"runs that end in mid-stroke", drawn{0.45, 4.7, 6, 15e3, 6e3, 500}, 100},
		{"noisy", drawn{0.6, 1e9, 0, 15e3, 8e3, 2e3}, 100},
	} {
		e, p := NewEnds(), Pace{}
		var at []float64
		n := 0
		ends := c.feed(&e, &p, c.rate, 200, func(x station.Instant, k int) {
			n += k
			at = append(at, float64(x)*1e-9)
		})
		if d := n - len(ends); d < -3 || d > 2+len(ends)/100 {
			t.Errorf("%s: %d strokes of %d", c.name, n, len(ends))
		}
		near := 0
		for _, x := range at {
			for _, y := range ends {
				if math.Abs(x-y) < math.Max(0.2*c.stroke, 1.5/c.rate) {
					near++
					break
				}
			}
		}
		if near*100 < 93*len(at) {
			t.Errorf("%s: %d of %d near a stroke's end", c.name, near, len(at))
		}
	}
}

// Noise alone makes no strokes.
func TestNoiseIsNoStroke(t *testing.T) {
	for _, rate := range []float64{20, 100} {
		e, p := NewEnds(), Pace{}
		n := 0
		drawn{1, 0, 1e9, 0, 0, 700}.feed(&e, &p, rate, 1800, func(_ station.Instant, k int) { n += k })
		if n > 2 {
			t.Errorf("%d strokes of noise at %g Hz in half an hour", n, rate)
		}
	}
}

// Demand that pulls the outlet down and lets it recover turns the outlet, and not the inlet.
func TestDemandIsNoStroke(t *testing.T) {
	e, p := NewEnds(), Pace{}
	r := rand.New(rand.NewPCG(3, 3))
	e.Ref = 600e3
	n := 0
	out := 900e3
	for i := range 60000 {
		at := station.Instant(i * 10_000_000)
		if s := math.Mod(float64(i)/100, 7); s < 1.5 {
			out -= 40
		} else if out < 900e3 {
			out += 8
		}
		e.Inlet([]station.Instant{at}, []float64{600e3 + 500*r.NormFloat64()})
		e.Out.Take([]station.Instant{at}, []float64{out + 500*r.NormFloat64()})
		if i%50 == 49 {
			e.In.TakeNoise(false)
			e.Out.TakeNoise(false)
			e.Search(p.Full, 0, false, p.Offer)
			for {
				c, ok := p.Ripe(at, e.Idle, e.Drawing, e.Drawn)
				if !ok {
					break
				}
				n += p.Strokes(&c, math.Hypot(e.J, e.K))
			}
		}
	}
	if n > 2 {
		t.Errorf("%d strokes of demand alone in ten minutes, 86 pulses", n)
	}
}

// Sums over windows are those of the samples, however long the trace and whatever the
// pressure.
func TestWindowsAddUp(t *testing.T) {
	var d Trace
	r := rand.New(rand.NewPCG(1, 1))
	var last [ringLen]float64
	for n := range 200000 {
		x := 1e6 + 1e5*r.NormFloat64()
		last[n%ringLen] = x
		d.Take([]station.Instant{station.Instant(n) * 10_000_000}, []float64{x})
	}
	sum := 0.0
	for n := d.N - 40; n < d.N; n++ {
		sum += last[n&ringMask] - d.Base
	}
	if got := d.mean(d.N-40, d.N); math.Abs(got-sum/40) > 0.2 { // samples are kept in whole Pa
		t.Errorf("mean %g, want %g", got, sum/40)
	}
}
