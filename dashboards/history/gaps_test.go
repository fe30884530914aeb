package history

import (
	"math"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

func gap(from, to int) station.Gap {
	return station.Gap{From: t0.Add(int64(from) * station.Minute60), To: t0.Add(int64(to) * station.Minute60), Segment: 3}
}

func withGaps(position uint64, ms []station.Minute, gs ...station.Gap) Commit {
	c := commit(position, ms)
	c.Stations[0].Gaps = gs
	return c
}

// A gap is stored once, whatever its length; its time is blind in totals and today, and in no hour.
func TestAGapIsOneRow(t *testing.T) {
	s := fresh(t)
	long := gap(2, 2+21*1440)
	c := withGaps(1, []station.Minute{minute(0), minute(1)}, long)
	do(t, s, c)
	again := []Commit{withGaps(2, []station.Minute{minute(1), minute(3 + 21*1440)}, long, gap(40000, 40010))}
	if err := s.Commit(t.Context(), again); err != nil {
		t.Fatal(err)
	}
	if a := again[0].Stations[0].Again; !reflect.DeepEqual(a, Again{Minutes: []int{0}, Gaps: []int{0}}) {
		t.Errorf("stored before: %+v", a)
	}
	totals, err := s.Totals(t.Context())
	if want := int64(21*1440+10) * station.Minute60; err != nil || totals[press].StateNs[station.Blind] != want {
		t.Errorf("blind for %d ns in the totals, want %d, %v", totals[press].StateNs[station.Blind], want, err)
	}
	got, err := s.Gaps(t.Context(), press, t0.Add(5*station.Minute60), t0.Add(6*station.Minute60))
	if err != nil || !reflect.DeepEqual(got, []station.Gap{long}) {
		t.Errorf("gaps %v, %v", got, err)
	}
	// from noon of the last day but one to the end: half a day and a whole one of the long gap, and ten minutes
	today, err := s.Today(t.Context(), press, long.To.Add(-2160*station.Minute60))
	if err != nil || today[station.Blind] != 2170*station.Minute60 {
		t.Errorf("today %v, %v", today, err)
	}
	sameHours(t, s)
}

// A part of an entry moves no position. One of an entry that is stored already is refused.
func TestAPartMovesNoPosition(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(4, []station.Minute{minute(0)}))
	part := commit(5, []station.Minute{minute(1)})
	part.Part = true
	do(t, s, part)
	if pos, err := s.Positions(t.Context()); err != nil || pos[5] != 4 {
		t.Errorf("position %d, %v", pos[5], err)
	}
	do(t, s, commit(5, []station.Minute{minute(1), minute(2)}))
	if totals, err := s.Totals(t.Context()); err != nil || totals[press].Strokes != 60+61+62 {
		t.Errorf("%d strokes, %v", totals[press].Strokes, err)
	}
	part.Position = 5
	if err := s.Commit(t.Context(), []Commit{part}); err == nil {
		t.Error("a part of a stored entry is stored")
	}
}

// What version 9 stored of a silence as known zeros is a gap afterwards: minutes and hours without a sample are gone, the hours
// at its edges are the sums of what is left, the totals stay.
func TestFalseMinutesOfVersion9AreMended(t *testing.T) {
	s := broughtUp(t, "version9silent.sql")
	left := func(id string) ([]station.Minute, []Hour, []station.Gap, int64) {
		k := station.Key{Site: "northdock", Station: id}
		ms, err := s.Minutes(t.Context(), k, 0, ever)
		if err != nil {
			t.Fatal(err)
		}
		hs, err := s.Hours(t.Context(), k, 0, ever)
		if err != nil {
			t.Fatal(err)
		}
		gs, err := s.Gaps(t.Context(), k, 0, ever)
		if err != nil {
			t.Fatal(err)
		}
		totals, err := s.Totals(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return ms, hs, gs, totals[k].StateNs[station.Blind]
	}
	// the samples: [0 s, 90 s) and [6140 s, 6230 s) of press-4; the fixture's 104 minutes but the 100 of [120 s, 6120 s)
	ms, hs, gs, blind := left("press-4")
	if len(ms) != 4 || len(gs) != 1 || gs[0].From != t0.Add(2*station.Minute60) || gs[0].To != t0.Add(102*station.Minute60) || blind != 6050e9 {
		t.Errorf("press-4: %d minutes, gaps %v, blind for %d ns", len(ms), gs, blind)
	}
	if len(hs) != 2 || hs[0].Minutes != 2 || hs[1].Minutes != 2 || hs[0].Covered != 120e9 || hs[0].Strokes+hs[1].Strokes != 510 {
		t.Errorf("press-4: hours %+v", hs)
	}
	if got, want := noNaN(hs), noNaN(sumUp(ms)); !reflect.DeepEqual(got, want) {
		t.Errorf("press-4:\nhours %+v\nsums  %+v", got, want)
	}
	// blind for lack of pressure sensors, not of samples: what the counter says stays
	if ms, hs, gs, blind := left("tally-1"); len(ms) != 53 || len(hs) != 1 || len(gs) != 0 || blind != 3179e9 {
		t.Errorf("tally-1: %d minutes, %d hours, gaps %v, blind for %d ns", len(ms), len(hs), gs, blind)
	}
	// minutes deleted with age, samples in [0 s, 90 s) and [9090 s, 9180 s): of 60 minutes two had one; the second hour is gone; then
	// 31 minutes without and two with
	ms, hs, gs, blind = left("old-2")
	if len(ms) != 0 || len(gs) != 0 || blind != 9000e9 || len(hs) != 2 || hs[0].Airless != 58 || hs[0].Uncounted != 58 || hs[1].Strokes != 500 || hs[1].Airless != 31 {
		t.Errorf("old-2: %d minutes, gaps %v, blind for %d ns, hours %+v", len(ms), gs, blind, hs)
	}
	var rows int
	if err := s.read.QueryRow(`SELECT count(*) FROM minutes WHERE covered = blind AND stroke_method <> 'none' AND station = 1`).Scan(&rows); err != nil || rows != 0 {
		t.Errorf("%d minutes of press-4 are blind with known strokes, %v", rows, err)
	}
}

// Gaps that ended before the time to keep minutes go with these.
func TestOldGapsAreDeleted(t *testing.T) {
	s := fresh(t)
	do(t, s, withGaps(1, nil, gap(0, 50), gap(60, 130), gap(200, 300)))
	if _, _, err := s.Retain(t.Context(), Retention{Minutes: t0.Add(120 * station.Minute60)}); err != nil {
		t.Fatal(err)
	}
	got, err := s.Gaps(t.Context(), press, 0, ever)
	if err != nil || !reflect.DeepEqual(got, []station.Gap{gap(60, 130), gap(200, 300)}) {
		t.Errorf("left %v, %v", got, err)
	}
}

// BenchmarkMendGaps brings a database of version 9 up to date that holds false minutes by the hundred thousand.
func BenchmarkMendGaps(b *testing.B) {
	text, err := migrations.ReadFile("migrations/0010_gaps.sql")
	if err != nil {
		b.Fatal(err)
	}
	const stations, silent = 10, 20 * 1440
	for b.Loop() {
		b.StopTimer()
		s := open(b, filepath.Join(b.TempDir(), "history.db"))
		falseMinutes(b, s, stations, silent)
		if _, err := s.write.Exec(`DROP TABLE gaps`); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		began := time.Now()
		if _, err := s.write.Exec(string(text)); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(time.Since(began).Seconds()/(stations*silent)*1e6, "s/million")
	}
}

// falseMinutes stores so many for each station, and as many true ones before them, as version 9 did.
func falseMinutes(b *testing.B, s *Store, stations, silent int) {
	b.Helper()
	nan := station.Gauge(math.NaN())
	for id := 1; id <= stations; id++ {
		ms := make([]station.Minute, 2*silent)
		for i := range ms {
			if ms[i] = minute(i); i >= silent {
				ms[i] = station.Minute{Start: ms[i].Start, Segment: 3, Covered: 60e9, StrokeMethod: station.MethodCounter, InletMean: nan, OutletMean: nan, OutletMax: nan}
				ms[i].StateNs[station.Blind] = 60e9
			}
		}
		if err := s.Import(b.Context(), StationMinutes{Key: station.Key{Site: "s", Station: string(rune('a' + id))}, Minutes: ms}); err != nil {
			b.Fatal(err)
		}
	}
}
