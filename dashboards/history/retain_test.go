package history

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Minutes, intervals, hours and transitions go by their age; totals, open alarms, what is
// still to be sent, notes and the audit stay.
func TestRetention(t *testing.T) {
	s := fresh(t, "phone")
	var ms []station.Minute
	for i := range 300 {
		ms = append(ms, minute(i))
	}
	c := commit(1, ms, transition(0, rules.OutletLeak, rules.Unacknowledged), transition(1, rules.OutletLeak, rules.ReturnedUnacknowledged),
		transition(2, rules.PressureLeft, rules.Unacknowledged), transition(7300, rules.OutletLeak, rules.Normal))
	c.Stations[0].Intervals = []station.Interval{{State: station.Holding, From: t0, To: t0.Add(2 * hourLen), Segment: 3},
		{State: station.Stroking, From: t0.Add(2 * hourLen), To: t0.Add(4 * hourLen), Segment: 3}}
	do(t, s, c)
	items, err := s.OutboxDue(t.Context(), "phone", t0, 9)
	if err != nil || len(items) != 2 || items[0].Transition.Alarm != rules.OutletLeak {
		t.Fatal(items, err)
	}
	if err := s.OutboxDone(t.Context(), items[0].ID); err != nil {
		t.Fatal(err)
	}
	if err := s.AddNote(t.Context(), Note{Key: press, At: t0}); err != nil {
		t.Fatal(err)
	}
	before, _ := s.Totals(t.Context())
	n, _, err := s.Retain(t.Context(), Retention{Minutes: t0.Add(2*hourLen + hourLen/2), Hours: t0.Add(hourLen)})
	if err != nil || n != 120+1+1+1 {
		t.Errorf("%d rows deleted, %v", n, err)
	}
	left, _ := s.Minutes(t.Context(), press, 0, ever)
	hours, _ := s.Hours(t.Context(), press, 0, ever)
	ivs, _ := s.Intervals(t.Context(), press, 0, ever)
	if len(left) != 180 || left[0].Start != t0.Add(2*hourLen) || len(hours) != 4 || hours[0].Minutes != 60 || len(ivs) != 1 {
		t.Errorf("%d minutes, %d hours, %d intervals", len(left), len(hours), len(ivs))
	}
	if after, _ := s.Totals(t.Context()); after[press] != before[press] {
		t.Errorf("totals %+v, were %+v", after[press], before[press])
	}
	open, _ := s.OpenAlarms(t.Context())
	ts, _ := s.Transitions(t.Context(), press, 0, ever)
	if len(open) != 1 || open[0].Alarm != rules.PressureLeft || len(ts) != 3 {
		t.Errorf("open %+v, %d transitions", open, len(ts))
	}
	if n, _, err := s.Retain(t.Context(), Retention{}); n != 0 || err != nil {
		t.Errorf("keeping all deleted %d rows, %v", n, err)
	}
}

// Days of a few stations go while others commit: no commit waits long, and the
// file does not grow when as much comes in again.
func TestRetentionDoesNotHoldCommitsUp(t *testing.T) {
	s := fresh(t)
	fill := func(from int) {
		for k := range 2 {
			var ms []station.Minute
			for i := range 3000 {
				ms = append(ms, minute(from+i))
			}
			if err := s.Import(t.Context(), StationMinutes{Key: station.Key{Site: "a", Station: fmt.Sprint(k)}, Minutes: ms}); err != nil {
				t.Fatal(err)
			}
		}
	}
	fill(0)
	var size, again int64
	if err := s.write.QueryRow(`PRAGMA page_count`).Scan(&size); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	var worst time.Duration
	commits := 0
	wg.Go(func() {
		for i := 1; ctx.Err() == nil; i++ {
			began := time.Now()
			c := commit(uint64(i), []station.Minute{minute(90000)})
			c.Stations[0].Intervals = nil
			if err := s.Commit(context.Background(), []Commit{c}); err != nil {
				t.Error(err)
				return
			}
			worst, commits = max(worst, time.Since(began)), i
			time.Sleep(10 * time.Millisecond)
		}
	})
	n, longest, err := s.Retain(t.Context(), Retention{Minutes: t0.Add(3000 * station.Minute60).Floor(hourLen)})
	stop()
	wg.Wait()
	if err != nil || n < 5900 {
		t.Errorf("%d rows, %v", n, err)
	}
	t.Logf("%d rows deleted, longest batch %v; %d commits meanwhile, the slowest %v", n, longest, commits, worst)
	fill(4000)
	if err := s.write.QueryRow(`PRAGMA page_count`).Scan(&again); err != nil {
		t.Fatal(err)
	}
	if again > size*11/10 {
		t.Errorf("%d pages, then %d: deleted ones are not used again", size, again)
	}
}

// A full disk is told in words, stores nothing of a commit, and is over when there is room.
func TestAFullDisk(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(1, []station.Minute{minute(0)}))
	var pages int64
	if err := s.write.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	limit := func(n int64) {
		t.Helper()
		if _, err := s.write.Exec(fmt.Sprintf(`PRAGMA max_page_count = %d`, n)); err != nil {
			t.Fatal(err)
		}
	}
	limit(pages)
	var ms []station.Minute
	for i := range 500 {
		ms = append(ms, minute(1+i))
	}
	big := commit(2, ms, transition(0, rules.OutletLeak, rules.Unacknowledged))
	for range 2 {
		err := s.Commit(t.Context(), []Commit{big})
		if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "make room") || !strings.Contains(err.Error(), filepath.Base(s.path)) {
			t.Fatalf("full: %v", err)
		}
	}
	if err := s.SaveSnapshot(t.Context(), 1, 1, "1", "1", make([]byte, 1<<20)); !errors.Is(err, ErrFull) {
		t.Errorf("snapshot: %v", err)
	}
	pos, _ := s.Positions(t.Context())
	left, _ := s.Minutes(t.Context(), press, 0, ever)
	totals, _ := s.Totals(t.Context())
	ts, _ := s.Transitions(t.Context(), press, 0, ever)
	if pos[5] != 1 || len(left) != 1 || totals[press].Strokes != 60 || len(ts) != 0 {
		t.Errorf("position %d, %d minutes, totals %+v, %d transitions", pos[5], len(left), totals[press], len(ts))
	}
	sameHours(t, s)
	limit(1 << 20)
	do(t, s, big)
	sameHours(t, s)
	if left, _ = s.Minutes(t.Context(), press, 0, ever); len(left) != 501 {
		t.Errorf("%d minutes once there is room", len(left))
	}
}

// A person's long read holds no commit up; a person's open change does, no longer than the
// time to wait, and what could not be stored can be stored afterwards.
func TestAPersonInTheDatabase(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(1, []station.Minute{minute(0)}))
	person, err := connect(s.path, 1, "foreign_keys(1)")
	if err != nil {
		t.Fatal(err)
	}
	defer person.Close()
	rows, err := person.Query(`SELECT start FROM minutes`)
	if err != nil || !rows.Next() {
		t.Fatal(err)
	}
	var worst time.Duration
	for i := range uint64(50) {
		began := time.Now()
		do(t, s, commit(2+i, []station.Minute{minute(1 + int(i))}))
		worst = max(worst, time.Since(began))
	}
	rows.Close()
	t.Logf("slowest commit beside an open read: %v", worst)
	if _, err := s.write.Exec(`PRAGMA busy_timeout = 50`); err != nil {
		t.Fatal(err)
	}
	tx, err := person.Begin()
	if err != nil {
		t.Fatal(err)
	}
	c := commit(90, []station.Minute{minute(90)})
	if err := s.Commit(t.Context(), []Commit{c}); err == nil {
		t.Error("a commit beside a person's change")
	} else if !strings.Contains(err.Error(), "locked") {
		t.Error(err)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	do(t, s, c)
}
