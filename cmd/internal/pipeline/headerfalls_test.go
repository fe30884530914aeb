package pipeline_test

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// The header falls by 150 kPa under a station that strokes on: to 490 kPa gauge by the rig, where 1000 kPa at the outlet ask for
// 523 (950/2 and a tenth). It is told within two minutes, the delay of 60 s included, and once; the
// line is not blamed.
func TestAHeaderThatFallsUnderStrokesIsTold(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	for _, x := range []upset{
		{"press-4", 100, true, rig.Fault{Kind: rig.HeaderLow, Level: 150e3}},
		{"press-4", 20, true, rig.Fault{Kind: rig.HeaderLow, Level: 150e3}},
		{"pack-1", 100, true, rig.Fault{Kind: rig.HeaderLow, Level: 150e3}},
	} {
		u := x.play(t, 2000)
		at := firstRaised(u.Out.Transitions, "header-low")
		static := u.Status.Estimates[station.HeaderStatic]
		t.Logf("%s: header-low after %d s, header %.0f kPa (%s)", x, at-sets, static.Value/1e3, static.Reason)
		if at < sets || at > sets+120 || raisedOf(u, "header-low") != 1 {
			t.Errorf("%s: header-low first at %d s, raised %d times", x, at, raisedOf(u, "header-low"))
		}
		if static.Known() && (static.Value < 475e3 || static.Value > 505e3) {
			t.Errorf("%s: header at %.0f kPa, the rig's 490", x, static.Value/1e3)
		}
		for _, line := range []string{"supply-undersized", "supply-restricting", "pressure-left"} {
			if raisedOf(u, line) > 0 {
				t.Errorf("%s: %s was raised", x, line)
			}
		}
	}
}

// A station that never stands does not show its header, but its outlet: 85 % of set, and a delay of 30 s.
func TestALowHeaderShowsAtTheOutletOfAStationThatNeverStands(t *testing.T) {
	t.Parallel()
	s := virtual(t, "press-4", rig.Fault{Kind: rig.HeaderLow, Level: 150e3, From: rigStart.Add(sets * station.Second), Until: rigStart.Add((sets + 300) * station.Second)})
	s.Rhythm = rig.Rhythm{Base: 6e-3}
	u, _ := play(s, sets+600, nil)
	if at := firstRaised(u.Out.Transitions, "outlet-low"); at < sets || at > sets+60 {
		t.Errorf("outlet-low at %d s, the header fell at %d", at, sets)
	}
}
