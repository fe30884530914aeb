package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// A drive side on its own regulator, 2 bar below the inlet: each stroke costs less drive air, and the outlet reaches
// p1 + p_d A_d/A_b at most. Source of the truth: collector/rig/model, whose regulator limits what the feed sees; the targets
// are those of the accuracy table, 5 % of the delivered air, 8 % of the inlet's and 15 % of the exhaust.
func TestDriveRegulator(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	for _, said := range []bool{false, true} {
		s := leaky(20, 0, 300, 3600, 7)
		drive := s.Params.Supply.HeaderGauge - 200e3
		s.Params.Drive.Set = drive
		s.Params.Governor.SetGauge = s.Params.Supply.HeaderGauge + 0.8*drive
		s.Plate.Set = station.Gauge(s.Params.Governor.SetGauge)
		s.Rhythm = rig.Rhythm{Flow: 3e-3, Period: 60, Share: 0.5}
		if said {
			s.Plate.DriveSet = station.Gauge(drive)
		}
		v := rig.New(s, rigStart, 0)
		u := unitOf(s, v, 1200)
		truth, inlet, exhaust, delivered := v.Truth(), 0.0, 0.0, 0.0
		for i := range u.Out.Minutes {
			m := &u.Out.Minutes[i]
			inlet, exhaust, delivered = inlet+m.Inlet.Litres(), exhaust+m.Exhaust.Litres(), delivered+m.Delivered.Litres()
		}
		in, ex, del := 100*(inlet/truth.Inlet-1), 100*(exhaust/truth.Exhaust-1), 100*(delivered/truth.Delivered-1)
		reach := u.Status.Estimates[station.ReachablePressure]
		ideal := s.Params.Supply.HeaderGauge + drive*s.Plate.AreaRatio
		t.Logf("said %v: inlet %+.1f %%, exhaust %+.1f %%, delivered %+.1f %%; reach %.0f kPa, without friction and sag %.0f", said, in, ex, del, reach.Value*1e-3, ideal*1e-3)
		if !said {
			continue
		}
		if math.Abs(in) > 8 || math.Abs(ex) > 15 || math.Abs(del) > 5 {
			t.Errorf("inlet %+.1f %%, exhaust %+.1f %%, delivered %+.1f %%", in, ex, del)
		}
		if !reach.Known() || reach.Value > ideal || reach.Value < 0.95*ideal {
			t.Errorf("reach %+v, force balance %.0f kPa", reach, ideal*1e-3)
		}
	}
}
