package model

import (
	"math"
	"testing"
)

// A compressor's band: its turning points lie within a tenth of the shorter flank of where a
// triangle of Period would have them, between 85 and 100 % of half the band from the mean, and no
// slope is steeper than Steepest (all by definition).
func TestHeaderBandIsATriangle(t *testing.T) {
	h := Header{Band: 60e3, Period: 40, Load: 0.3, Seed: 7}
	const dt = 0.02
	var tops, bottoms []float64
	steepest, was, slope := 0.0, h.Swing(0), 0.0
	for i := 1; float64(i)*dt < 4000; i++ {
		at := float64(i) * dt
		p := h.Swing(at)
		if d := (p - was) / dt; d < 0 && slope > 0 {
			tops = append(tops, at)
			slope = d
		} else if d > 0 && slope < 0 {
			bottoms = append(bottoms, at)
			slope = d
		} else {
			slope = d
		}
		steepest = max(steepest, math.Abs(p-was)/dt)
		if math.Abs(p) > h.Band/2 {
			t.Fatalf("%g Pa off the mean at %g s", p, at)
		}
		was = p
	}
	if len(tops) < 98 || len(tops) > 101 || len(bottoms) < 98 || len(bottoms) > 101 {
		t.Fatalf("%d tops and %d bottoms in a hundred periods", len(tops), len(bottoms))
	}
	for i, at := range tops {
		if p := h.Swing(at); p < 0.85*h.Band/2-100 {
			t.Errorf("a top of %g Pa", p)
		}
		if i > 0 && math.Abs(at-tops[i-1]-40) > 2*0.1*12+2*dt {
			t.Errorf("%g s from top to top", at-tops[i-1])
		}
	}
	if steepest > h.Steepest()*(1+1e-9) || steepest < 0.7*h.Steepest() {
		t.Errorf("steepest slope %g Pa/s, bound %g", steepest, h.Steepest())
	}
}

// Slow noise has the rms that it is given, and nothing moves by more than a tenth of it in a
// hundredth of its shortest lag.
func TestHeaderNoiseIsSlow(t *testing.T) {
	h := Header{Noise: 2e3, NoiseLag: 30, Seed: 3}
	sum, sum2, n, was := 0.0, 0.0, 0.0, h.Swing(0)
	for at := 0.0; at < 60e3; at += 30. / 900 {
		p := h.Swing(at)
		if math.Abs(p-was) > 0.1*h.Noise {
			t.Fatalf("%g Pa within %g s", p-was, 30./900)
		}
		was = p
		sum, sum2, n = sum+p, sum2+p*p, n+1
	}
	near(t, "rms", math.Sqrt(sum2/n), h.Noise, 0.05)
	if m := sum / n; math.Abs(m) > 0.05*h.Noise {
		t.Errorf("mean %g Pa", m)
	}
}

// A trip falls at its rate, stays, and comes back at its rate; neighbours lower the header by
// whole draws, with ramps between.
func TestHeaderTripsAndNeighbours(t *testing.T) {
	h := Header{Trip: Trip{At: 100, For: 60, Fall: 150e3, Rate: 3e3}}
	for at, want := range map[float64]float64{0: 0, 100: 0, 110: -30e3, 150: -150e3, 160: -150e3, 170: -120e3, 210: 0, 500: 0} {
		if p := h.Swing(at); math.Abs(p-want) > 1e-6 {
			t.Errorf("at %g s: %g Pa, want %g", at, p, want)
		}
	}
	h = Header{Neighbours: 2, Draw: 5e3, Hold: 20, Ramp: 2, Seed: 5}
	whole, n := 0, 0
	for at := 0.05; at < 4000; at += 0.1 {
		draws := -h.Swing(at) / h.Draw
		if draws < -1e-9 || draws > 2+1e-9 {
			t.Fatalf("%g draws at %g s", draws, at)
		}
		if n++; math.Abs(draws-math.Round(draws)) < 1e-9 {
			whole++
		}
	}
	if share := float64(whole) / float64(n); share < 0.8 || share == 1 {
		t.Errorf("the header rests in %.2f of the time", share)
	}
}

// The inlet of a standing station follows the header through its knots, within what a slope of
// 5 kPa/s changes in a knot.
func TestInletFollowsTheHeader(t *testing.T) {
	p := Default()
	p.Supply.Header = Header{Band: 40e3, Period: 20, Load: 0.5, Seed: 1}
	p.Governor.SetGauge = 600e3 // stands: the outlet is above it
	s := New(Doubling(), p, 1000e3)
	for at := 0.1; at < 60; at += 0.1 {
		s.Advance(at)
		if d := s.Inlet() - s.Header(); math.Abs(d) > 500 {
			t.Fatalf("inlet %g Pa off the header at %g s", d, at)
		}
	}
}
