package pipeline_test

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// Standing times of an independent model's piston, those of more than half a second, against
// what is told, in s. The model's piston stands below 0.2 mm/s; by the definition in
// analyzer/station it also stands while it creeps faster than that, for 5 to 9 s after most strokes.
// So a standing time of the model lies within a told one and ends with it, and no minute is told to
// stand for less than the model's; how much more is in totals.duty_fed, which
// TestRecordingsOfAnIndependentModel compares. Two ends of 09 are a piston that moved for 10 ms.
func TestStandingTimesOfAnIndependentModel(t *testing.T) {
	for _, counter := range []bool{true, false} {
		var ends, seconds, minutes bound
		for _, dir := range firstModel(t) {
			var tr struct {
				truth
				Stills  [][2]float64 `json:"still_intervals"`
				Minutes []struct {
					Holding float64 `json:"holding_s"`
					Starved float64 `json:"starved_s"`
				}
			}
			readJSON(t, filepath.Join(dir, "truth.json"), &tr)
			p, shut := plateOf(t, dir)
			u, start := pipeline.New(p, "test"), station.Instant(0)
			feed(t, u, filepath.Join(dir, "trace.csv.gz"), counter, func(b *station.Block) {
				if start == 0 {
					start = b.At(0)
				}
			})
			at := func(s float64) station.Instant { return start.Add(int64(s * 1e9)) }
			for _, v := range tr.Stills {
				if shut > 0 && v[1] > shut {
					continue
				}
				said := 0.0
				for _, st := range []station.State{station.Holding, station.Starved} {
					said += covered(u.Out.Intervals, st, at(v[0]), at(v[1]))
				}
				length := v[1] - v[0]
				seconds.add((length-said)/math.Max(1, 0.02*length), true)
				off, ok := nearest(u.Out.Intervals, at(v[1]))
				ends.add(off, ok)
			}
			line := ""
			for i, m := range tr.Minutes {
				from, to := at(60*float64(i)), at(60*float64(i+1))
				if shut > 0 && float64(60*(i+1)) > shut {
					break
				}
				said := covered(u.Out.Intervals, station.Holding, from, to) + covered(u.Out.Intervals, station.Starved, from, to)
				off := said - m.Holding - m.Starved
				minutes.add(math.Min(off, 0), true)
				line += fmt.Sprintf(" %+.1f", off)
			}
			t.Logf("%s, counter %v: seconds told to stand a minute, off by%s", tr.Name, counter, line)
		}
		for _, c := range []struct {
			what  string
			b     *bound
			least float64 // share within one
		}{{"ends, s", &ends, 0.9}, {"seconds over 1 s or 2 %", &seconds, 0.95}, {"seconds missing a minute", &minutes, 0.98}} {
			md, wo := c.b.typical()
			share := float64(c.b.within(1)) / float64(c.b.n)
			t.Logf("counter %v, %s: %d, found %d, within one %.0f %%, median %.2f, worst %.2f", counter, c.what, c.b.n, len(c.b.errs), 100*share, md, wo)
			if share < c.least {
				t.Errorf("counter %v: of %s only %.0f %% are within one", counter, c.what, 100*share)
			}
		}
	}
}

// nearest finds the told end of a standing time that is nearest to at, s off.
func nearest(told []station.Interval, at station.Instant) (off float64, ok bool) {
	off = 10
	for _, v := range told {
		if v.State != station.Holding && v.State != station.Starved {
			continue
		}
		if d := float64(v.To.Sub(at)) * 1e-9; math.Abs(d) < math.Abs(off) {
			off, ok = d, true
		}
	}
	return off, ok
}
