package history

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// Copies made while commits go on are each of one moment: positions, minutes, hours and
// totals agree in it, and no commit waits for a copy.
func TestCopiesWhileCommitsGoOn(t *testing.T) {
	s := fresh(t)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan time.Duration)
	go func() {
		var worst time.Duration
		for i := 1; ctx.Err() == nil; i++ {
			began := time.Now()
			if err := s.Commit(context.Background(), []Commit{commit(uint64(i), []station.Minute{minute(i)})}); err != nil {
				t.Error(err)
				break
			}
			worst = max(worst, time.Since(began))
		}
		done <- worst
	}()
	var last uint64
	for i := range 4 {
		to := filepath.Join(t.TempDir(), fmt.Sprint(i))
		for pos := last; pos <= last+5; time.Sleep(time.Millisecond) {
			p, err := s.Positions(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			pos = p[5]
		}
		got, err := Copy(t.Context(), s.path, to)
		if err != nil {
			t.Fatal(err)
		}
		n := got.Positions[5]
		if n <= last || got.Stations != 1 || got.Schema != Schema() {
			t.Errorf("copy %d: %+v, the one before was at %d", i, got, last)
		}
		last = n
		c := open(t, to)
		ms, _ := c.Minutes(t.Context(), press, 0, ever)
		totals, _ := c.Totals(t.Context())
		var strokes int64
		for k := range ms {
			strokes += ms[k].Strokes
		}
		if uint64(len(ms)) != n || totals[press].Strokes != strokes {
			t.Errorf("copy %d at position %d holds %d minutes with %d strokes, totals %d", i, n, len(ms), strokes, totals[press].Strokes)
		}
		sameHours(t, c)
	}
	stop()
	worst := <-done
	t.Logf("%d commits, the slowest took %v", last, worst)
	if worst > time.Second {
		t.Errorf("a commit took %v beside a copy", worst)
	}
}

func TestWhatCannotBeCopied(t *testing.T) {
	dir := t.TempDir()
	if _, err := Copy(t.Context(), filepath.Join(dir, "none.db"), filepath.Join(dir, "x")); err == nil || !strings.Contains(err.Error(), "none.db") {
		t.Errorf("none: %v", err)
	}
	s := fresh(t)
	taken := filepath.Join(dir, "taken")
	if err := os.WriteFile(taken, []byte("something"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Copy(t.Context(), s.path, taken); err == nil {
		t.Error("a file was overwritten")
	}
	if _, err := Inspect(t.Context(), taken); err == nil {
		t.Error("no database was taken for one")
	}
	if err := InUse(t.Context(), s.path); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("an open database: %v", err)
	}
	s.Close()
	if err := InUse(t.Context(), s.path); err != nil {
		t.Errorf("a closed database: %v", err)
	}
	if _, err := Inspect(t.Context(), s.path); err != nil {
		t.Error(err)
	}
}

// A history that goes on with another log keeps all it has; what restored engines conclude
// again is stored once, and their intervals are clipped to what is not stored.
func TestBeginLog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := open(t, path)
	c := commit(40, []station.Minute{minute(0)})
	c.Stations[0].Intervals = []station.Interval{{State: station.Stroking, From: t0, To: t0.Add(100), Segment: 3}}
	do(t, s, c)
	if err := s.MarkRestored(t.Context(), "b", Act{Who: "jo", What: "restore"}); err != nil {
		t.Fatal(err)
	}
	if l, err := s.Lineage(t.Context()); err != nil || l.Restored != "b" {
		t.Errorf("lineage %+v, %v", l, err)
	}
	n := NewLog{Log: "other", Act: Act{Who: "strokewise", What: "start"}}
	n.Positions[5] = 7
	n.Snapshots[5] = Snapshot{Position: 7, Schema: "1", Engine: "1", Blob: []byte{9}}
	if err := s.BeginLog(t.Context(), n); err != nil {
		t.Fatal(err)
	}
	if l, err := s.Lineage(t.Context()); err != nil || l != (Lineage{Log: "other"}) {
		t.Errorf("lineage %+v, %v", l, err)
	}
	again := commit(8, []station.Minute{minute(0), minute(1)})
	again.Stations[0].Intervals = []station.Interval{
		{State: station.Stroking, From: t0.Add(20), To: t0.Add(60), Segment: 3},
		{State: station.Blind, From: t0.Add(60), To: t0.Add(500), Segment: 3},
		{State: station.Stroking, From: t0.Add(50), To: t0.Add(90), Segment: 4}}
	for range 2 { // also after it was opened again
		s.Close()
		s = open(t, path)
		do(t, s, again)
		again.Position++
	}
	ivs, _ := s.Intervals(t.Context(), press, 0, ever)
	if len(ivs) != 3 || ivs[2] != (station.Interval{State: station.Blind, From: t0.Add(100), To: t0.Add(500), Segment: 3}) {
		t.Errorf("intervals %+v", ivs)
	}
	totals, _ := s.Totals(t.Context())
	snap, ok, err := s.LoadSnapshot(t.Context(), 5)
	acts, _ := s.Acts(t.Context(), 0, 1)
	if totals[press].Strokes != 121 || !ok || err != nil || snap.Position != 7 || len(acts) != 2 {
		t.Errorf("totals %+v, snapshot %+v %v %v, audit %+v", totals[press], snap, ok, err, acts)
	}
	sameHours(t, s)
}
