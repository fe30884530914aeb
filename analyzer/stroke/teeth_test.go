package stroke

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// A small closed tank of which a steady flow is consumed: dp/dt = kappa p (inflow - outflow)/m, so
// with inflow in hops of given shares of a stroke the mass balance must give back how many teeth
// a stroke has. Source: conservation of mass; the trace is computed here, not measured.
func TestTeethAreWeighed(t *testing.T) {
	for _, shares := range [][]float64{{1}, {0.5, 0.5}, {0.7, 0.3}, {0.4, 0.2, 0.2, 0.2}} {
		const rate, lift, period, run = 100, 200e3, 0.9, 0.1 // lift Pa a stroke; s a stroke; s a hop takes
		e := NewEnds()
		e.Lift = lift
		drain := lift / period
		p, area := 900e3, 0.0
		for i := range 60 * rate {
			at := float64(i) / rate
			phase := math.Mod(at, period) / period * float64(len(shares))
			share := shares[int(phase)]
			into := (phase - math.Floor(phase)) * period / float64(len(shares))
			inflow := 0.0
			if into < run {
				inflow = share * lift / run
			}
			p += (inflow - drain) / rate
			if inflow > 0 {
				area += share / run / rate
			}
			now := station.Instant(at * 1e9)
			e.Out.Take([]station.Instant{now}, []float64{p})
			if hop := into + 0.5/rate; hop >= run+0.03 && hop < run+0.03+1.0/rate {
				e.weigh(&Candidate{At: station.Instant((at - 0.03) * 1e9), Area: area})
			}
		}
		if full := e.Teeth.Full(); math.Abs(full-1) > 0.15 {
			t.Errorf("shares %v: a stroke draws %.2f of the truth", shares, full)
		}
		if k := e.Teeth.Full() / e.Teeth.Each(); math.Abs(k/float64(len(shares))-1) > 0.15 {
			t.Errorf("shares %v: %.2f teeth a stroke", shares, k)
		}
	}
}
