package pipeline_test

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// An offset that was named at a vented moment stays named while the station works with
// readings that are possible, and until it is mended: that shows by the step back, by the next
// vented moment, or by another rest of the inlet where nobody saw the step.
func TestAnOffsetStaysNamed(t *testing.T) {
	const named, mended, never = 480, 1100, 5000 // s
	for _, f := range []struct {
		kind  rig.Kind
		level float64
		until float64
		by    float64 // at which it must be believed again, 0: never within the play
	}{
		{rig.InletOffset, -25e3, never, 0}, {rig.SensorOffset, -25e3, never, 0},
		{rig.InletOffset, 22e3, never, 0}, {rig.SensorOffset, 30e3, never, 0},
		{rig.InletOffset, -25e3, mended, 1160}, {rig.SensorOffset, -25e3, mended, 1160},
		{rig.InletOffset, 22e3, mended, 1160}, {rig.SensorOffset, 30e3, mended, 1160},
		{rig.InletOffset, -25e3, 440, 505}, {rig.SensorOffset, -25e3, 440, 505}, // while vented
	} {
		s := vents(t, "press-4", []int64{300}, until(f.kind, f.level, 0, f.until))
		s.Faults[0].From = 0
		if f.until < 480 {
			s.Faults[1].Until = sec(520)
		}
		lapses, cured := 0, 0.0
		play(s, 1300, func(u *pipeline.Unit) {
			at := float64(u.Status.At.Sub(rigStart)) * 1e-9
			blind := u.Status.State == station.Blind
			switch {
			case at < named && f.until > named || at < f.until && f.until < named:
			case at < f.until && !blind:
				lapses++
			case !blind && cured == 0:
				cured = at
			case blind:
				cured = 0
			}
		})
		t.Logf("%s %+.0f kPa until %.0f s: believed for %d s meanwhile, and again at %.0f s", f.kind, f.level/1e3, f.until, lapses, cured)
		if lapses > 0 || f.by > 0 && (cured == 0 || cured > f.by) {
			t.Errorf("%s %+.0f kPa until %.0f s: believed for %d s meanwhile, and again at %.0f s", f.kind, f.level/1e3, f.until, lapses, cured)
		}
	}
}
