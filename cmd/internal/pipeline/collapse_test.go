package pipeline_test

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
	"strokewise/rules"
)

// firstRaised returns when an alarm was first raised, s from the start, -1: never.
func firstRaised(ts []rules.Transition, alarm string) int64 {
	for i := range ts {
		if ts[i].Alarm == alarm && ts[i].To == rules.Unacknowledged {
			return ts[i].At.Sub(rigStart) / station.Second
		}
	}
	return -1
}

// A hose bursts in a plant that has worked for an hour: holes of 3.8 to 7.5 mm. The outlet passes 85 % of set within
// 20 s of the burst by the rig, the balance takes 5 s and the alarm's delay 5 s more. Stations without a
// counter at 10 and 20 Hz do not show strokes that fast, so their fall alone tells.
func TestABurstHoseIsTold(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	for _, x := range []upset{
		{"press-4", 100, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
		{"press-4", 100, false, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
		{"press-4", 20, false, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
		{"press-4", 10, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(7.5)}},
		{"press-9", 100, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
		{"press-9", 10, false, rig.Fault{Kind: rig.OutletLeak, Level: holeC(5.4)}},
		{"pack-1", 20, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(5.4)}},
		{"pack-2", 1, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
	} {
		x.fault.From = rigStart.Add(3600 * station.Second)
		s := virtual(t, x.station, x.fault)
		s.Rhythm.Zone, s.Rhythm.Shifts = nil, nil
		s.Sensors.Rate, s.Sensors.Counter = x.rate, x.counter
		u, _ := play(s, 3900, nil)
		at := firstRaised(u.Out.Transitions, rules.OutletCollapse)
		t.Logf("%s: outlet-collapse after %d s", x, at-3600)
		if at < 3600 || at > 3640 {
			t.Errorf("%s: outlet-collapse raised at %d s, the hose burst at 3600", x, at)
		}
	}
}

// A supply that is closed while consumers go on, a vent after it, a header that trips, a jammed piston and a first fill are no
// burst hose; nor is what random stations of the rig do in their usual work.
func TestNoCollapseWithoutABurst(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	for _, f := range []rig.Fault{
		{Kind: rig.Shutdown}, {Kind: rig.Trapped}, {Kind: rig.Vented}, {Kind: rig.HeaderLow, Level: 150e3}, {Kind: rig.HeaderLow, Level: 350e3},
		{Kind: rig.PistonStuck}, {Kind: rig.SupplyNarrow},
	} {
		for _, id := range []string{"press-4", "press-9"} {
			f.From = rigStart.Add(3600 * station.Second)
			s := virtual(t, id, f)
			s.Rhythm.Zone, s.Rhythm.Shifts = nil, nil
			s.Sensors.Rate = 20
			u, _ := play(s, 5000, nil)
			if at := firstRaised(u.Out.Transitions, rules.OutletCollapse); at >= 0 {
				t.Errorf("%s, %s: outlet-collapse at %d s", id, f.Kind, at)
			}
		}
	}
	for seed := range uint64(40) {
		s := draw.Steady(5000+seed, []float64{10, 20, 50}[seed%3])
		s.Faults = nil
		u, _ := play(s, 4200, nil)
		if at := firstRaised(u.Out.Transitions, rules.OutletCollapse); at >= 0 {
			t.Errorf("random station %d: outlet-collapse at %d s", seed, at)
		}
	}
}
