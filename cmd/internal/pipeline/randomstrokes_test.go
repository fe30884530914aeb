package pipeline_test

import (
	"math"
	"sort"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/accuracy"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
)

// played is what the analyzer told of a virtual station's strokes, from the traces alone unless
// told otherwise, and when they ended: s from the start.
func played(s rig.Spec, seconds int64, counter bool) (truth, found []float64, u *pipeline.Unit) {
	const start = station.Instant(1767225600e9)
	v := rig.New(s, start, 100)
	u = pipeline.New(s.Plate, "test")
	u.KeepStrokes = true
	for at := start; at < start.Add(seconds*station.Second); at = at.Add(station.Second) {
		blocks := v.Until(at.Add(station.Second))
		for _, k := range v.TakeStrokes() {
			truth = append(truth, float64(k.At.Sub(start))*1e-9)
		}
		kept := blocks[:0]
		for _, b := range blocks {
			if counter || b.Channel != station.Cycles {
				kept = append(kept, b)
			}
		}
		u.Samples(kept, at.Add(station.Second))
	}
	u.Flush()
	for _, k := range u.Out.Strokes {
		found = append(found, float64(k.At.Sub(start))*1e-9)
	}
	sort.Float64s(found)
	return truth, found, u
}

// The times of strokes on every second virtual station with demand, as the rig has them. Faults in
// its model are those of the analyzer's makers, but no code is shared. The aim is 95 %, which the
// stations reach whose governor snaps; one that throttles rounds the corner at an end.
func TestStrokeTimesOfRandomStations(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	sum, n := map[bool]float64{}, 0.0
	for seed := uint64(1); seed < 40; seed += 3 {
		rate := []float64{100, 50, 20}[(seed/3)%3]
		n++
		for _, counter := range []bool{true, false} {
			truth, found, _ := played(draw.Steady(seed, rate), 600, counter)
			share := 100 * accuracy.Hits(truth, found, 1/rate)
			t.Logf("station %d, %g Hz, counter %v: %.1f %% of strokes timed", seed, rate, counter, share)
			sum[counter] += share
		}
	}
	with, without := sum[true]/n, sum[false]/n
	t.Logf("mean %.1f %% with the counter, %.1f %% without", with, without)
	if with < 91 || without < 81 {
		t.Errorf("%.1f %% with the counter, %.1f %% without", with, without)
	}
}

// Noise of 2 kPa rms, four times the usual, on stations whose tank of 4 L makes a stroke's tooth
// some 15 kPa. Asked for are 1 % or unknown. Not met: each run may end with a stroke too many
// (1 to 4 %). What is told must be within 10 %.
func TestStrokesInNoise(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	exact, near, locked := 0, 0, 0
	for _, seed := range []uint64{1, 2, 5, 10, 11, 14, 19, 20, 23, 28, 32, 37} {
		s := draw.Steady(seed, 100)
		s.Params.Tank.Volume, s.Plate.TankVolume = 4e-3, 4e-3
		s.Sensors.Noise = 2000
		truth, found, u := played(s, 600, false)
		unknown := 0
		for i := range u.Out.Minutes {
			if u.Out.Minutes[i].StrokeMethod == station.MethodNone {
				unknown++
			}
		}
		off := 100 * (float64(len(found))/float64(len(truth)) - 1)
		t.Logf("station %d: %d strokes, told %+.2f %%, %d of %d minutes unknown", seed, len(truth), off, unknown, len(u.Out.Minutes))
		switch off = math.Abs(off); {
		case 2*unknown >= len(u.Out.Minutes): // unknown, as asked for
		case off <= 1:
			exact++
		case off <= 10:
			near++
		default:
			locked++
		}
	}
	t.Logf("%d of 12 within 1 %%, %d more within 10 %%, %d told and off by more", exact, near, locked)
	if exact < 4 || exact+near < 8 || locked > 0 {
		t.Errorf("%d of 12 within 1 %%, %d more within 10 %%, %d told and off by more", exact, near, locked)
	}
}
