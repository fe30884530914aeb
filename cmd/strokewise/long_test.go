package main

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/collector/trace"
)

// eightHours writes a trace of eight hours at 20 Hz: a recording over and over, its
// counter going on.
func eightHours(t testing.TB) string {
	t.Helper()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	r := &rs[2]
	path := filepath.Join(t.TempDir(), "eight.csv")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := trace.NewWriter(f, station.InletPressure, station.OutletPressure, station.Cycles)
	if err != nil {
		t.Fatal(err)
	}
	col := map[station.Channel]*station.Block{}
	for i := range r.Blocks {
		col[r.Blocks[i].Channel] = &r.Blocks[i]
	}
	n, _ := r.Span()
	at, count := n, 0.0
	rows := len(r.Blocks[0].Values)
	for i := range 8 * 3600 * 20 {
		k := i % rows
		if i > 0 && k == 0 {
			count += col[station.Cycles].Values[rows-1]
		}
		if err := w.Write(at, math.Round(col[station.InletPressure].Values[k]), math.Round(col[station.OutletPressure].Values[k]), col[station.Cycles].Values[k]+count); err != nil {
			t.Fatal(err)
		}
		at = at.Add(50 * station.Millisecond)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}
