package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// A booster without a governor creeps towards the balance of its forces, too slowly for its draw to show. Where the plate says
// that there is none, counts no more than 30 s a stroke apart are work, since it never stands between them. Source of the
// truth: duty of collector/rig/model, by the definition in analyzer/station/state.go; the target is that of the accuracy
// table, 3 points. What it stands at follows from the bores, within 3 %.
func TestWithoutGovernor(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	off := map[bool]float64{}
	for _, said := range []bool{false, true} {
		s := leaky(20, 0, 300, 3600, 7)
		s.Plate.Set, s.Plate.Ungoverned, s.Params.Governor.Without = 0, said, true
		s.Rhythm = rig.Rhythm{Flow: 1.5e-3, Period: 240, Share: 0.3}
		v := rig.New(s, rigStart, 0)
		u := unitOf(s, v, 1800)
		fed, work := 0.0, 0.0
		for i := range u.Out.Minutes {
			m := &u.Out.Minutes[i]
			for st, ns := range m.StateNs {
				if station.State(st).Fed() {
					fed += float64(ns)
				}
			}
			work += float64(m.StateNs[station.Charging] + m.StateNs[station.Stroking])
		}
		truth := v.Truth()
		off[said] = 100 * (work/fed - truth.Stroking/truth.Fed)
		set := u.Status.Estimates[station.SetPressure]
		t.Logf("said %v: duty off by %+.1f points of %.1f %%, set %.0f (%.0f to %.0f) kPa %s", said, off[said], 100*truth.Stroking/truth.Fed,
			set.Value*1e-3, set.Low*1e-3, set.High*1e-3, set.Reason)
		if !said {
			continue
		}
		if math.Abs(off[true]) > 3 || math.Abs(off[true]) > math.Abs(off[false]) {
			t.Errorf("duty off by %+.1f points, %+.1f where nobody says so", off[true], off[false])
		}
		_, highest := v.Pressures()
		if !set.Known() || math.Abs(set.Value/highest-1) > 0.03 {
			t.Errorf("stands at %+v, the outlet is at %.0f", set, highest)
		}
		if shift := u.Status.Estimates[station.SetShift]; shift.Known() {
			t.Errorf("the set of no governor has shifted by %g", shift.Value)
		}
	}
}

// unitOf plays a virtual station through its pipeline.
func unitOf(s rig.Spec, v *rig.Station, seconds int64) *pipeline.Unit {
	u := pipeline.New(s.Plate, "test")
	for k := range seconds {
		at := rigStart.Add((k + 1) * station.Second)
		u.Samples(v.Until(at), at)
	}
	u.Flush()
	return u
}
