package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
)

// paced gives a station whose drive feed is so narrow that it makes about so many strokes a
// second, below set because a little more is drawn than it delivers. Its changeover valve is
// slow too: for three tenths of each stroke the piston stops.
func paced(rate, hz float64) *scene {
	s := draw.Steady(1001, hz)
	s.Faults, s.Outlet = nil, 0.93*s.Params.Governor.SetGauge
	s.Params.Drive.Feed.C *= rate / 4.9
	s.Params.Drive.Switch = 0.3 / rate
	s.Rhythm = rig.Rhythm{Base: rate * 0.5e-3}
	return &scene{spec: s, end: 60 + 12/rate}
}

// Short stops between strokes at a slow pace are no stall, where the counter shows the strokes. A
// pace slower than one stroke in 30 s is stall, by the definition in analyzer/station. From the traces
// alone nothing shows either: neither draw nor delivery is as large as the noise.
func TestSlowPaceIsNoStall(t *testing.T) {
	for _, rate := range []float64{0.02, 0.05, 0.1} {
		for _, hz := range []float64{10, 100} {
			s := paced(rate, hz)
			units := [2]*pipeline.Unit{pipeline.New(s.spec.Plate, "test"), pipeline.New(s.spec.Plate, "test")}
			s.play(units)
			strokes := float64(s.at[len(s.at)-1].strokes) / s.end
			from := sec(6.5 / rate) // three increments tell the pace
			var stall [2]float64
			for i, u := range units {
				stall[i] = covered(u.Out.Intervals, station.Starved, from, sec(s.end)) + covered(u.Out.Intervals, station.Holding, from, sec(s.end))
			}
			t.Logf("%.3f strokes a second at %g Hz, outlet %.3f of set at the end, %.0f s: stall told %.1f s, from the traces alone %.1f s",
				strokes, hz, s.at[len(s.at)-1].outlet/s.spec.Params.Governor.SetGauge, s.end, stall[0], stall[1])
			want := 0.0
			if strokes < 1/30. {
				want = s.end - 6.5/rate
			}
			if math.Abs(stall[0]-want) > 1 {
				t.Errorf("%.1f s of stall at %.3f strokes a second, want %.1f", stall[0], strokes, want)
			}
		}
	}
}
