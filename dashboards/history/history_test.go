package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const t0 = station.Instant(1767225600 * station.Second)

var press = station.Key{Site: "northdock", Station: "press-4"}

func open(t testing.TB, path string, receivers ...string) *Store {
	t.Helper()
	s, err := Open(path, Options{Receivers: receivers})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func fresh(t testing.TB, receivers ...string) *Store {
	t.Helper()
	return open(t, filepath.Join(t.TempDir(), "history.db"), receivers...)
}

// minute makes a minute with every field set, n minutes after t0.
func minute(n int) station.Minute {
	m := station.Minute{
		Start: t0.Add(int64(n) * station.Minute60), Segment: 3, Covered: 60e9, Strokes: int64(60 + n), StrokeMethod: station.MethodBoth,
		Inlet: 5, Exhaust: 3, Delivered: 2, InletLow: 4, InletHigh: 6, DeliveredLow: 1, DeliveredHigh: 3,
		InletMean: 594e3, OutletMean: 880.25e3, OutletMax: 900e3,
		Leak: station.Estimate{Value: 1e-3, Low: 9e-4, High: 11e-4, Method: station.MethodDecay, Confidence: 0.8, At: t0},
	}
	m.StateNs[station.Stroking], m.StateNs[station.Holding] = 40e9, 20e9
	return m
}

func transition(n int, alarm string, to rules.AlarmState) rules.Transition {
	return rules.Transition{Key: press, Branch: "forming", Alarm: alarm, Priority: rules.High, From: rules.Normal, To: to,
		At: t0.Add(int64(n) * station.Second), Raised: t0, Message: "m", Caution: "c",
		Evidence: []rules.Evidence{{Name: "outlet_pressure", Value: 9e5, Unit: "Pa gauge"}, {Name: "told_by", Text: "valve"}}}
}

func commit(position uint64, ms []station.Minute, ts ...rules.Transition) Commit {
	return Commit{Partition: 5, Position: position, Transitions: ts, Stations: []StationMinutes{{Key: press, Revision: 7, Minutes: ms,
		Intervals: []station.Interval{{State: station.Stroking, From: t0.Add(int64(position)), To: t0.Add(int64(position) + 5), Segment: 3}}}}}
}

func do(t testing.TB, s *Store, c ...Commit) {
	t.Helper()
	if err := s.Commit(t.Context(), c); err != nil {
		t.Fatal(err)
	}
}

func TestWhatIsCommittedIsReadBackAlsoAfterReopening(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := open(t, path)
	unknown := minute(1)
	unknown.StrokeMethod, unknown.AirReason = station.MethodNone, "no counter"
	unknown.Leak = station.Unknown("no quiet window")
	unknown.InletMean, unknown.OutletMax = station.Gauge(math.NaN()), station.Gauge(math.NaN())
	want := []station.Minute{minute(0), unknown}
	tr := transition(0, rules.PressureLeft, rules.Unacknowledged)
	do(t, s, commit(10, want, tr))
	for range 2 {
		got, err := s.Minutes(t.Context(), press, t0, t0.Add(station.Minute60*5))
		if err != nil || len(got) != 2 {
			t.Fatalf("%d minutes, %v", len(got), err)
		}
		if !reflect.DeepEqual(got[0], want[0]) {
			t.Errorf("got  %+v\nwant %+v", got[0], want[0])
		}
		if g := got[1]; g.Leak.Known() || g.Leak.Reason != "no quiet window" || !math.IsNaN(float64(g.InletMean)) || g.AirReason != "no counter" || g.StrokeMethod != station.MethodNone {
			t.Errorf("unknown minute came back as %+v", g)
		}
		ts, err := s.Transitions(t.Context(), press, 0, math.MaxInt64)
		if err != nil || len(ts) != 1 || !reflect.DeepEqual(ts[0], tr) {
			t.Errorf("transitions %+v, %v", ts, err)
		}
		iv, err := s.Intervals(t.Context(), press, 0, math.MaxInt64)
		if err != nil || len(iv) != 1 || iv[0].State != station.Stroking || iv[0].Segment != 3 {
			t.Errorf("intervals %+v, %v", iv, err)
		}
		pos, err := s.Positions(t.Context())
		if err != nil || pos[5] != 10 || pos[4] != 0 {
			t.Errorf("positions %v, %v", pos, err)
		}
		totals, err := s.Totals(t.Context())
		if err != nil || totals[press].Strokes != 121 || totals[press].Inlet != 10 || totals[press].StateNs[station.Holding] != 40e9 {
			t.Errorf("totals %+v, %v", totals, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = open(t, path)
	}
}

func TestStaleCommitsStoreNothing(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(10, []station.Minute{minute(0)}))
	for _, p := range []uint64{9, 10} {
		// the second commit of the call is good, and must not be stored either
		other := Commit{Partition: 6, Position: 3, Stations: []StationMinutes{{Key: station.Key{Site: "x", Station: "y"}, Minutes: []station.Minute{minute(0)}}}}
		err := s.Commit(t.Context(), []Commit{other, commit(p, []station.Minute{minute(1)})})
		if !errors.Is(err, ErrStale) {
			t.Fatalf("position %d: %v", p, err)
		}
	}
	pos, _ := s.Positions(t.Context())
	totals, _ := s.Totals(t.Context())
	if pos[5] != 10 || pos[6] != 0 || len(totals) != 1 || totals[press].Strokes != 60 {
		t.Errorf("positions %v, totals %v", pos, totals)
	}
}

// A minute that is concluded again after a rebuild stays as it was and is counted once.
func TestRepeatedMinutesAndTransitionsAreCountedOnce(t *testing.T) {
	s := fresh(t, "phone")
	tr := transition(0, rules.OutletLeak, rules.Unacknowledged)
	do(t, s, commit(10, []station.Minute{minute(0)}, tr))
	changed := minute(0)
	changed.Strokes = 999
	again := commit(11, []station.Minute{changed, minute(1)}, tr)
	do(t, s, again)
	if got := again.Stations[0].Again.Minutes; len(got) != 1 || got[0] != 0 {
		t.Errorf("repeated %v, want the first", got)
	}
	totals, _ := s.Totals(t.Context())
	ms, _ := s.Minutes(t.Context(), press, t0, t0.Add(station.Minute60))
	if totals[press].Strokes != 121 || ms[0].Strokes != 60 || s.Repeated() != 1 {
		t.Errorf("totals %+v, minute %d strokes, %d repeated", totals[press], ms[0].Strokes, s.Repeated())
	}
	if n, err := s.OutboxPending(t.Context()); err != nil || n["phone"] != 1 {
		t.Errorf("outbox %v, %v", n, err)
	}
}

// A past that is filled in behind is shown and not counted; what was concluded live
// stays.
func TestImportedPastIsNotCounted(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(1, []station.Minute{minute(5)}))
	live := minute(5)
	changed := minute(5)
	changed.Strokes = 1
	past := StationMinutes{Key: press, Revision: 7, Minutes: []station.Minute{minute(3), minute(4), changed}}
	if err := s.Import(t.Context(), past); err != nil {
		t.Fatal(err)
	}
	ms, _ := s.Minutes(t.Context(), press, t0, t0.Add(station.Minute60*10))
	if len(ms) != 3 || ms[2].Strokes != live.Strokes {
		t.Errorf("%d minutes", len(ms))
	}
	totals, _ := s.Totals(t.Context())
	if totals[press].Strokes != live.Strokes {
		t.Errorf("totals %+v", totals[press])
	}
}

func TestOpenAlarms(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(1, nil, transition(0, rules.OutletLeak, rules.Unacknowledged), transition(0, rules.PressureLeft, rules.Unacknowledged)))
	do(t, s, commit(2, nil, transition(5, rules.OutletLeak, rules.ReturnedUnacknowledged), transition(6, rules.PressureLeft, rules.Normal)))
	got, err := s.OpenAlarms(t.Context())
	if err != nil || len(got) != 1 || got[0].Alarm != rules.OutletLeak || got[0].To != rules.ReturnedUnacknowledged {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestToday(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(1, []station.Minute{minute(0), minute(1), minute(2)}))
	ns, err := s.Today(t.Context(), press, t0.Add(station.Minute60))
	if err != nil || ns[station.Stroking] != 80e9 {
		t.Errorf("got %v, %v", ns, err)
	}
	if ns, err = s.Today(t.Context(), station.Key{Site: "no", Station: "such"}, 0); err != nil || ns[station.Stroking] != 0 {
		t.Errorf("unknown station: %v, %v", ns, err)
	}
}

// Of each alarm only the oldest undelivered item is due, and a retry puts it off with all
// that follows it.
func TestOutboxKeepsTheOrderOfAnAlarm(t *testing.T) {
	s := fresh(t, "phone", "board")
	do(t, s, commit(1, nil, transition(0, rules.OutletLeak, rules.Unacknowledged), transition(1, rules.OutletLeak, rules.ReturnedUnacknowledged),
		transition(2, rules.SignalLost, rules.Unacknowledged)))
	due := func(now station.Instant) []OutboxItem {
		t.Helper()
		items, err := s.OutboxDue(t.Context(), "phone", now, 10)
		if err != nil {
			t.Fatal(err)
		}
		return items
	}
	items := due(t0)
	if len(items) != 2 || items[0].Transition.To != rules.Unacknowledged || items[1].Transition.Alarm != rules.SignalLost {
		t.Fatalf("due %+v", items)
	}
	if err := s.OutboxRetry(t.Context(), items[0].ID, t0.Add(station.Minute60), "refused"); err != nil {
		t.Fatal(err)
	}
	if err := s.OutboxDone(t.Context(), items[1].ID); err != nil {
		t.Fatal(err)
	}
	if got := due(t0); len(got) != 0 {
		t.Errorf("put off, and due: %+v", got)
	}
	items = due(t0.Add(station.Minute60))
	if len(items) != 1 || items[0].Attempts != 1 || items[0].LastError != "refused" {
		t.Fatalf("after the wait: %+v", items)
	}
	if err := s.OutboxDone(t.Context(), items[0].ID); err != nil {
		t.Fatal(err)
	}
	if items = due(t0); len(items) != 1 || items[0].Transition.To != rules.ReturnedUnacknowledged {
		t.Errorf("the next of the alarm: %+v", items)
	}
	if err := s.OutboxDone(t.Context(), 999); err == nil {
		t.Error("an item that is not there was done")
	}
	if n, _ := s.OutboxPending(t.Context()); n["phone"] != 1 || n["board"] != 3 {
		t.Errorf("pending %v", n)
	}
}

func TestSnapshots(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	if _, ok, err := s.LoadSnapshot(ctx, 3); ok || err != nil {
		t.Errorf("none: %v, %v", ok, err)
	}
	for i := range uint64(2) {
		if err := s.SaveSnapshot(ctx, 3, 10+i, "1/1", "1", []byte{1, 2, byte(i)}); err != nil {
			t.Fatal(err)
		}
	}
	n, ok, err := s.LoadSnapshot(ctx, 3)
	if err != nil || !ok || n.Position != 11 || n.Schema != "1/1" || n.Blob[2] != 1 {
		t.Errorf("got %+v, %v, %v", n, ok, err)
	}
	if _, err := s.write.Exec(`UPDATE snapshots SET blob = x'010203'`); err != nil {
		t.Fatal(err)
	}
	if _, ok, err := s.LoadSnapshot(ctx, 3); ok || err == nil || !strings.Contains(err.Error(), "checksum") {
		t.Errorf("damaged: %v, %v", ok, err)
	}
}

func TestFilesThatAreNotOursAreRefused(t *testing.T) {
	dir := t.TempDir()
	newer := filepath.Join(dir, "newer.db")
	s := open(t, newer)
	if _, err := s.write.Exec(`UPDATE schema_version SET version = 99`); err != nil {
		t.Fatal(err)
	}
	s.Close()
	if _, err := Inspect(t.Context(), newer); err == nil || !strings.Contains(err.Error(), "version 99") || !strings.Contains(err.Error(), fmt.Sprint("up to ", Schema())) {
		t.Errorf("inspecting a newer one: %v", err)
	}
	foreign := filepath.Join(dir, "foreign.db")
	db, err := sql.Open("sqlite", foreign)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`CREATE TABLE other (x)`); err != nil {
		t.Fatal(err)
	}
	db.Close()
	junk := filepath.Join(dir, "junk.db")
	if err := os.WriteFile(junk, []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{newer: "newer program", foreign: "another program", junk: "junk.db", filepath.Join(dir, "no", "such.db"): "such.db"} {
		s, err := Open(path, Options{})
		if err == nil {
			s.Close()
			t.Errorf("%s was opened", path)
			continue
		}
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestReadersAndWritersTogether(t *testing.T) {
	s := fresh(t, "phone")
	var wg sync.WaitGroup
	for p := range 4 {
		wg.Go(func() {
			for i := range 30 {
				k := station.Key{Site: "northdock", Station: fmt.Sprint(p)}
				tr := transition(i, rules.OutletLeak, rules.Unacknowledged)
				tr.Key, tr.Raised = k, station.Instant(i)
				c := Commit{Partition: p, Position: uint64(i + 1), Stations: []StationMinutes{{Key: k, Minutes: []station.Minute{minute(i)}}}, Transitions: []rules.Transition{tr}}
				if err := s.Commit(context.Background(), []Commit{c}); err != nil {
					t.Error(err)
				}
			}
		})
		wg.Go(func() {
			for range 30 {
				if _, err := s.Totals(context.Background()); err != nil {
					t.Error(err)
				}
				if _, err := s.OutboxDue(context.Background(), "phone", t0, 5); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	totals, err := s.Totals(t.Context())
	if err != nil || len(totals) != 4 {
		t.Fatalf("%d stations, %v", len(totals), err)
	}
	var want board.Totals
	for i := range 30 {
		m := minute(i)
		want.Add(&m)
	}
	for k, got := range totals {
		if got != want {
			t.Errorf("%s: %+v, want %+v", k, got, want)
		}
	}
}

// A row that cannot be stored takes the whole commit back.
func TestACommitIsStoredAsAWhole(t *testing.T) {
	s := fresh(t)
	if _, err := s.write.Exec(`CREATE TRIGGER no BEFORE INSERT ON transitions BEGIN SELECT RAISE(ABORT, 'no'); END`); err != nil {
		t.Fatal(err)
	}
	if err := s.Commit(t.Context(), []Commit{commit(1, []station.Minute{minute(0)}, transition(0, rules.OutletLeak, rules.Unacknowledged))}); err == nil {
		t.Fatal("it was stored")
	}
	pos, _ := s.Positions(t.Context())
	totals, _ := s.Totals(t.Context())
	if pos[5] != 0 || len(totals) != 0 {
		t.Errorf("positions %v, totals %v", pos, totals)
	}
}

// BenchmarkCommit stores a minute of each of a hundred stations in one transaction.
func BenchmarkCommit(b *testing.B) {
	for _, always := range []bool{false, true} {
		b.Run(fmt.Sprintf("sync-always=%v", always), func(b *testing.B) {
			s, err := Open(filepath.Join(b.TempDir(), "history.db"), Options{SyncAlways: always})
			if err != nil {
				b.Fatal(err)
			}
			defer s.Close()
			n := 0
			for b.Loop() {
				n++
				c := Commit{Partition: 0, Position: uint64(n)}
				for i := range 100 {
					c.Stations = append(c.Stations, StationMinutes{Key: station.Key{Site: "northdock", Station: fmt.Sprint(i)}, Minutes: []station.Minute{minute(n)}})
				}
				if err := s.Commit(b.Context(), []Commit{c}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*100/b.Elapsed().Seconds(), "minutes/s")
		})
	}
}
