package samplelog

import (
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// killed removes what the server writes at a clean end only: its next start reads every file anew,
// as after a kill.
func killed(t *testing.T, dir string) {
	t.Helper()
	remove(t, filepath.Join(filepath.Dir(blocks(t, dir)[0]), "index.db"))
}

// offset returns where the n-th record of a file begins, from 0.
func offset(t *testing.T, path string, n int) int64 {
	t.Helper()
	b := block{data: mustRead(t, path), key: keyOf(path)}
	at := 0
	for range n {
		k, _ := b.whole(at)
		if k == 0 {
			t.Fatalf("no whole record at %d of %s", at, path)
		}
		at += k
	}
	return int64(at)
}

func mustRead(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Damage of the newest file, then a kill: with what mend saves, and with the server alone, which
// drops everything behind the damage. Whatever is lost is counted, and no position is used twice.
// The numbers are those of the records that the test damages, of n that it appended.
func TestDamageOfTheNewestFileIsCountedAndBounded(t *testing.T) {
	const n = 1796 // one file
	for _, c := range []struct {
		name   string
		damage func(t *testing.T, path string)
		lost   int // with mend
		alone  int // without
	}{
		{"a byte of record 201's data", func(t *testing.T, p string) { flip(t, p, offset(t, p, 200)+500) }, 1, n - 200},
		{"a byte of record 201's length", func(t *testing.T, p string) { flip(t, p, offset(t, p, 200)) }, 1, n - 200},
		{"a byte of record 201's position", func(t *testing.T, p string) { flip(t, p, offset(t, p, 200)+4) }, 1, n - 200},
		{"a byte of record 201's checksum", func(t *testing.T, p string) { flip(t, p, offset(t, p, 201)-1) }, 1, n - 200},
		{"the first record", func(t *testing.T, p string) { flip(t, p, 300) }, 1, n},
		{"records 201, 301 and 1001", func(t *testing.T, p string) {
			for _, k := range []int{1000, 300, 200} {
				flip(t, p, offset(t, p, k)+90)
			}
		}, 3, n - 200},
		{"5,000 zeros in records 201 to 203", func(t *testing.T, p string) {
			f, err := os.OpenFile(p, os.O_WRONLY, 0)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			f.WriteAt(make([]byte, 5000), offset(t, p, 200)+100)
		}, 3, n - 200},
		{"the last record", func(t *testing.T, p string) { flip(t, p, -100) }, 1, 1},
		{"the second half cut off", halve, n / 2, n / 2},
	} {
		for _, alone := range []bool{false, true} {
			want, kind := c.lost, "mended"
			if alone {
				want, kind = c.alone, "server alone"
			}
			t.Run(c.name+"/"+kind, func(t *testing.T) {
				dir := filled(t, n)
				b := blocks(t, dir)
				if len(b) != 1 {
					t.Fatalf("%d files", len(b))
				}
				c.damage(t, b[0])
				killed(t, dir)
				var said strings.Builder
				j, err := Open(t.Context(), Options{Dir: dir, unmended: alone, Logger: slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{Level: slog.LevelError}))})
				if err != nil {
					t.Fatal(err)
				}
				defer j.Close()
				p := mustAppend(t, j, 0, n)
				left := leftOf(t, j, p)
				s, err := j.Size(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				t.Logf("%-40s %-12s %4d of %d entries lost, %d counted, %d gaps, next position %d", c.name, kind, n-left, n, s.Lost, s.Gaps, p)
				if n-left != want {
					t.Errorf("%d entries are lost, expected %d", n-left, want)
				}
				if s.Gaps == 0 || s.Lost != int64(want) || !strings.Contains(said.String(), "damaged") {
					t.Errorf("%d gaps, %d entries counted as lost; said: %s", s.Gaps, s.Lost, said.String())
				}
				if p != n+1 {
					t.Errorf("the next position is %d, expected %d", p, n+1)
				}
			})
		}
	}
}

// A file that was trimmed and then damaged: notes of removals and records before the log's beginning
// lie in it as well. 100 entries are left of 1,000; one of them is damaged.
func TestATrimmedFileIsMended(t *testing.T) {
	dir := filled(t, 1000)
	j, err := Open(t.Context(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Trim(t.Context(), 900); err != nil {
		t.Fatal(err)
	}
	j.Close()
	b := blocks(t, dir)
	slices.Sort(b)
	p := b[len(b)-1]
	flip(t, p, int64(len(mustRead(t, p)))-50*2200)
	killed(t, dir)
	if j, err = Open(t.Context(), Options{Dir: dir}); err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	at := mustAppend(t, j, 0, 1000)
	left := leftOf(t, j, at)
	s, err := j.Size(t.Context())
	if err != nil || left != 99 || s.Lost != 1 || at != 1001 {
		t.Errorf("%d entries left, %+v, next position %d, %v", left, s, at, err)
	}
}

// The same damage after a clean end, where the server trusts its index and meets the damage as it reads.
func TestDamageAfterACleanEndIsBounded(t *testing.T) {
	const n = 1796
	for _, of := range []int64{0, 3, 4, 20, 500} { // length twice, position, length of the name, data
		dir := filled(t, n)
		p := blocks(t, dir)[0]
		flip(t, p, offset(t, p, 200)+of)
		j, err := Open(t.Context(), Options{Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		at := mustAppend(t, j, 0, n)
		left := leftOf(t, j, at)
		s, err := j.Size(t.Context())
		if err != nil || left != n-1 || s.Lost != 1 || s.Gaps == 0 || at != n+1 {
			t.Errorf("byte %d of the record: %d of %d entries left, %+v, next position %d, %v", of, left, n, s, at, err)
		}
		j.Close()
	}
}

// A whole file is not touched, whatever is in it.
func TestAWholeFileIsNotTouched(t *testing.T) {
	p := blocks(t, filled(t, 100))[0]
	before := mustRead(t, p)
	if n, err := mendFile(p); n != 0 || err != nil || string(mustRead(t, p)) != string(before) {
		t.Errorf("%d places, %v", n, err)
	}
}

// Positions that the server gives out a second time while it runs, as an external one may that was
// restored from a copy: the entry is refused, positions go on behind, and the loss is counted. The
// log here ends at 3 and is told that 10 positions were accepted.
func TestAPositionThatComesASecondTimeIsRefused(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for i := range 3 {
		mustAppend(t, j, 0, i)
	}
	j.mark.accepted(10)
	if p, err := j.Append(t.Context(), 0, tick(4)); err == nil || !strings.Contains(err.Error(), "appended again") {
		t.Fatalf("position %d, %v", p, err)
	}
	if p := mustAppend(t, j, 0, 4); p != 11 {
		t.Errorf("position %d", p)
	}
	if s, err := j.Size(t.Context()); err != nil || s.Gaps != 1 || s.Lost != 6 {
		t.Errorf("%+v, %v", s, err)
	}
}

// The file with the newest position survives a restart, and one of another log, or a damaged one, is
// not believed.
func TestMark(t *testing.T) {
	dir, log := t.TempDir(), slog.New(slog.DiscardHandler)
	k := openMarker(dir, log)
	k.belongs("ONE")
	k.accepted(7)
	k.accepted(5)
	k.close()
	again := func(id string) uint64 {
		k := openMarker(dir, log)
		defer k.close()
		k.belongs(id)
		return k.newest()
	}
	if got := again("ONE"); got != 7 {
		t.Errorf("position %d", got)
	}
	if got := again("TWO"); got != 0 {
		t.Errorf("position %d of another log", got)
	}
	flip(t, filepath.Join(dir, markName), 46)
	if got := again("ONE"); got != 0 {
		t.Errorf("position %d of a damaged file", got)
	}
}
