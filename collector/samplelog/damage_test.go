package samplelog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// filled makes a log of n entries of one partition, 2 kB each, and closes it.
func filled(t *testing.T, n int) (dir string) {
	t.Helper()
	dir = t.TempDir()
	j, err := Open(t.Context(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		v := make([]float64, 250)
		for k := range v {
			v[k] = float64(i*k) * 0.1234567
		}
		if _, err := j.Append(t.Context(), 0, []station.Record{{Arrival: station.Instant(i), Blocks: []station.Block{{Step: 1, Values: v}}}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

func blocks(t *testing.T, dir string) []string {
	t.Helper()
	f, err := filepath.Glob(filepath.Join(dir, "stream", "jetstream", "$G", "streams", usual.stream, "msgs", "*.blk"))
	if err != nil || len(f) == 0 {
		t.Fatal(f, err)
	}
	slices.Sort(f)
	return f
}

func flip(t *testing.T, path string, at int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	i, _ := f.Stat()
	if at < 0 {
		at += i.Size()
	}
	var b [1]byte
	f.ReadAt(b[:], at)
	b[0] ^= 0xff
	f.WriteAt(b[:], at)
}

// What a damaged store gives: never a stall, never a wrong entry, positions that go on, and
// a word about it. Where the first file is gone the log looks like one that was trimmed;
// the runtime notices that by its snapshots.
func TestDamagedFilesAreSaidAndReadOver(t *testing.T) {
	const n = 5500 // two files
	for name, c := range map[string]struct {
		damage func(t *testing.T, dir string)
		least  int // entries that must be left
		quiet  bool
	}{
		"last record changed": {func(t *testing.T, dir string) { b := blocks(t, dir); flip(t, b[len(b)-1], -100) }, n - 1, false},
		"record changed":      {func(t *testing.T, dir string) { flip(t, blocks(t, dir)[0], 1<<20) }, n - 1, false},
		"record changed, no index": {func(t *testing.T, dir string) {
			b := blocks(t, dir)
			flip(t, b[0], 1<<20)
			remove(t, filepath.Join(filepath.Dir(b[0]), "index.db"))
		}, n / 4, false},
		"newest file cut":  {func(t *testing.T, dir string) { b := blocks(t, dir); halve(t, b[len(b)-1]) }, n / 2, false},
		"oldest file cut":  {func(t *testing.T, dir string) { halve(t, blocks(t, dir)[0]) }, n / 2, false},
		"oldest file gone": {func(t *testing.T, dir string) { remove(t, blocks(t, dir)[0]) }, n / 5, true},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filled(t, n)
			if k := len(blocks(t, dir)); k < 2 {
				t.Fatalf("%d files", k)
			}
			c.damage(t, dir)
			var said strings.Builder
			j, err := Open(t.Context(), Options{Dir: dir, Logger: slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{Level: slog.LevelError}))})
			if err != nil {
				t.Fatal(err)
			}
			defer j.Close()
			p := mustAppend(t, j, 0, n)
			if p <= n-1 {
				t.Errorf("position %d is given out a second time", p)
			}
			left := leftOf(t, j, p)
			if left < c.least {
				t.Errorf("%d of %d entries are left, expected %d", left, n, c.least)
			}
			s, err := j.Size(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if c.quiet != (s.Gaps == 0) || c.quiet != (said.Len() == 0) {
				t.Errorf("%d gaps; said: %s", s.Gaps, said.String())
			}
			t.Logf("%d of %d entries are left, the next one is at %d; said: %s", left, n, p, said.String())
		})
	}
}

// leftOf reads a damaged log up to position to and counts what is left of it.
func leftOf(t *testing.T, j *JetStream, to uint64) (n int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	last := station.Instant(-1)
	err := j.Read(ctx, 0, 0, func(e Entry) error {
		if e.Position >= to {
			return errEnough
		}
		if len(e.Records) == 0 { // in place of a lost one
			return nil
		}
		r := &e.Records[0]
		if r.Arrival <= last || r.Blocks[0].Values[249] != float64(249*r.Arrival)*0.1234567 {
			return fmt.Errorf("entry %d after %d is %v", r.Arrival, last, r.Blocks[0].Values[249])
		}
		last = r.Arrival
		n++
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatal(err)
	}
	return n
}

func halve(t *testing.T, path string) {
	t.Helper()
	i, err := os.Stat(path)
	if err == nil {
		err = os.Truncate(path, i.Size()/2)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func remove(t *testing.T, path string) {
	t.Helper()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
}

// A log that lost its end skips positions that were given out.
func TestSkip(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	mustAppend(t, j, 3, 1)
	for _, to := range []uint64{5, 5, 2} {
		if err := j.Skip(t.Context(), to); err != nil {
			t.Fatal(err)
		}
	}
	if p := mustAppend(t, j, 3, 2); p != 6 {
		t.Errorf("position %d", p)
	}
}
