package pipeline_test

import (
	"math"
	"testing"

	"strokewise/collector/rig/model"
)

// What the tooth of the outlet would tell of a stroke's delivery, with sensors that err in nothing: its
// rise less the fall between deliveries, V/(kappa R T_0) times that, over the truth. What is delivered is
// warm from its compression, so the tooth is too high by about 0.8 ((p2/p1)^(2/7) - 1); what is left after
// that scatters by 3 % (standard deviation) from station to station, by the walls' cooling and the
// governor's throttling. The plate's tank adds 3 % more. That is no better than the plate
// data alone (TestAirOfAnyRatio: 90th percentile 6 %), so the tooth is not used. This fails when
// it becomes worth while.
func TestToothOfTheOutlet(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("arithmetic of fifty stations: run without the race detector by make test's second step")
	}
	var sum, square, n float64
	for seed := range uint64(50) {
		k, ratio, ok := tooth(seed)
		if !ok {
			continue
		}
		off := k/(1.015+0.8*(math.Pow(ratio, 2.0/7)-1)) - 1
		sum, square, n = sum+off, square+off*off, n+1
	}
	mean := sum / n
	sd := math.Sqrt(square/n - mean*mean)
	t.Logf("%g stations: the tooth over the truth off by %+.1f %% after its warmth, standard deviation %.1f %%", n, 100*mean, 100*sd)
	if n < 40 || math.Abs(mean) > 0.02 || sd < 0.02 || sd > 0.05 {
		t.Errorf("off by %+.3f, standard deviation %.3f over %g stations", mean, sd, n)
	}
}

// tooth gives the tooth's delivery over the truth of a station with a steady demand, and p2/p1.
func tooth(seed uint64) (share, ratio float64, ok bool) {
	const dt = 2e-3
	s := ratioed(seed)
	p := s.Params
	p.Demand = model.Demand{Steps: []model.DemandStep{{Flow: 0.35 * s.Rhythm.Flow}}}
	if seed%2 == 1 {
		p.Governor.Band = 0
	}
	m := model.New(s.Geometry, p, p.Governor.SetGauge-p.Governor.Hysteresis/2)
	m.Advance(200)
	var trace []float64 // outlet since the last stroke
	var rise, truth, last, lastAt, had float64
	n, strokes := 0, m.Strokes()
	for now := 200 + dt; now < 320; now += dt {
		m.Advance(now)
		trace = append(trace, m.Outlet())
		if m.Strokes() == strokes {
			continue
		}
		strokes = m.Strokes()
		if took := now - lastAt; last != 0 && took < 2 {
			n++
			rise += m.Outlet() - last - steepest(trace)/dt*took
			truth += m.Totals().Delivered - had
		}
		last, lastAt, had, trace = m.Outlet(), now, m.Totals().Delivered, trace[:0]
	}
	amb := p.Atmosphere
	return rise * p.Tank.Volume / (1.4 * 100e3) * 1e3 / truth, (m.Outlet() + amb) / (m.Inlet() + amb), n >= 10
}

// steepest gives the steepest fall from sample to sample over a tenth of a trace.
func steepest(x []float64) float64 {
	k, least := max(5, len(x)/10), 0.0
	for i := k; i < len(x); i++ {
		least = math.Min(least, (x[i]-x[i-k])/float64(k))
	}
	return least
}
