package samplelog

import (
	"errors"
	"testing"

	"strokewise/analyzer/station"
)

// Samples leave a reserve of 1/64 of max_bytes; ticks and plate data use half of it, people's words all.
// With 1 MiB those are 16 and 8 KiB.
func TestReserve(t *testing.T) {
	const most = 1 << 20
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: most})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	fill := func(of []station.Record) Size {
		t.Helper()
		for range 100_000 {
			if _, err := j.Append(t.Context(), 0, of); err != nil {
				if !errors.Is(err, ErrFull) {
					t.Fatal(err)
				}
				held := j.room.bytes()
				s, err := j.Size(t.Context())
				if err != nil || s.Bytes != held {
					t.Errorf("%d bytes by our count, %+v, %v", held, s, err)
				}
				return s
			}
		}
		t.Fatal("never full")
		return Size{}
	}
	samples := []station.Record{{Key: station.Key{Site: "northdock", Station: "press-4"}, Blocks: []station.Block{{Step: 1, Values: make([]float64, 100)}}}}
	word := []station.Record{{Command: &station.Command{Kind: "note", By: "Ines", Note: "all well"}}}
	for _, c := range []struct {
		what string
		of   []station.Record
		to   int64
	}{{"samples", samples, most - most/64}, {"ticks", tick(1), most - most/128}, {"words", word, most}} {
		if s := fill(c.of); s.Bytes > c.to || s.Bytes < c.to-1000 {
			t.Errorf("%s fill up to %d bytes, expected %d", c.what, s.Bytes, c.to)
		} else {
			t.Logf("%s fill up to %d of %d bytes", c.what, s.Bytes, most)
		}
	}
	if err := j.Trim(t.Context(), 1000); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Append(t.Context(), 0, samples); err != nil {
		t.Errorf("no room after trimming: %v", err)
	}
}

// Weight is what the server counts.
func TestWeight(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	mustAppend(t, j, 15, 1)
	s, err := j.Size(t.Context())
	if w := Weight(tick(1)); err != nil || w < s.Bytes || w > s.Bytes+20 { // 20: the longest position in the header
		t.Errorf("%d bytes, %+v, %v", w, s, err)
	}
}

// A reader whose next entries are trimmed is told; one that comes afterwards begins behind them; neither
// is damage. The reader asks for 2 x 256 entries ahead, so that of 3,000 not all are on their way.
func TestTrimmedUnderAReader(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for i := range 3000 {
		mustAppend(t, j, 0, i)
	}
	n := 0
	err = j.Read(t.Context(), 0, 0, func(Entry) error {
		if n++; n == 1 {
			return j.Trim(t.Context(), 2900)
		}
		return nil
	})
	if !errors.Is(err, ErrTrimmed) {
		t.Errorf("%d entries read, %v", n, err)
	}
	if got, _ := read(t, j, 0, 10, 1); got[0] != 2900 {
		t.Errorf("begins at %v", got)
	}
	if s, err := j.Size(t.Context()); err != nil || s.Gaps != 0 || s.Lost != 0 {
		t.Errorf("%+v, %v", s, err)
	}
}

// Times are found over positions that damaged files lack: entry 201 of 300 is unreadable.
func TestBeforeOverAHole(t *testing.T) {
	dir := filled(t, 300)
	p := blocks(t, dir)[0]
	flip(t, p, offset(t, p, 200)+500)
	killed(t, dir)
	j, err := Open(t.Context(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for _, k := range []uint64{150, 199, 200, 202, 203, 290} {
		m, err := j.stream.GetMsg(t.Context(), k)
		if err != nil {
			t.Fatal(err)
		}
		want := k - 1
		if k == 202 {
			want = 200 // 201 is gone
		}
		if got, err := j.Before(t.Context(), m.Time); err != nil || got != want && got != k-1 {
			t.Errorf("before entry %d: %d, %v", k, got, err)
		}
	}
}
