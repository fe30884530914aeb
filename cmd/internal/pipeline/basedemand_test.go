package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
	"strokewise/rules"
)

// A nozzle of 25 L/min behind the regulator never closes. Its plate tells it from a leak: none is told of a tight station,
// and a hole beside it is told for what it is. Source of the truth: collector/rig/model, which shares no code with the
// analyzer; the plate is wrong by 5 %.
func TestBaseDemandIsNoLeak(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	const nozzle = 25e-3 / 60 // m³/s ANR
	for _, c := range []struct {
		name  string
		base  float64 // of the plate, over the truth
		hole  float64 // mm
		leaks bool
	}{
		{"nobody has said so", 0, 0, true},
		{"a tight station", 1.05, 0, false},
		{"a hole beside it", 1.05, 0.6, true},
	} {
		s := leaky(20, c.hole, 300, 0, 7)
		s.Rhythm = rig.Rhythm{}
		s.Params.Demand.Consumers = []model.Consumer{{Kind: model.Steady, Flow: nozzle}}
		s.Plate.BaseDemand = c.base * nozzle
		u := seen(s, 900, nil)
		g := u.Status.Estimates[station.LeakFlow]
		raised := false
		for i := range u.Out.Transitions {
			raised = raised || u.Out.Transitions[i].Alarm == rules.OutletLeak
		}
		t.Logf("%s: %.1f (%.1f to %.1f) L/min by %s %s", c.name, 60e3*g.Value, 60e3*g.Low, 60e3*g.High, g.Method, g.Reason)
		if !g.Known() || (g.Value > 0) != c.leaks || raised != c.leaks {
			t.Errorf("%s: leak %+v, alarm %v", c.name, g, raised)
		}
		if truth := holeC(c.hole) * (1000e3 + 101325); c.hole > 0 && (math.Abs(g.Value-truth) > 0.2*truth || g.Low > truth || g.High < truth) {
			t.Errorf("%s: %.1f (%.1f to %.1f) L/min, truth %.1f", c.name, 60e3*g.Value, 60e3*g.Low, 60e3*g.High, 60e3*truth)
		}
	}
}
