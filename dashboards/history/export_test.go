package history

import (
	"fmt"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

func exporting(t testing.TB, path string, exporters ...string) *Store {
	t.Helper()
	s, err := Open(path, Options{Exporters: exporters})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// waiting gives an exporter's rows as text, and the batch.
func waiting(t testing.TB, s *Store, exporter string, limit int) (string, ExportBatch) {
	t.Helper()
	b, err := s.Export(t.Context(), exporter, limit)
	if err != nil {
		t.Fatal(err)
	}
	out := ""
	for _, r := range b.Rows {
		switch {
		case r.Minute != nil:
			out += fmt.Sprintf("m%d ", r.Minute.Start.Sub(t0)/station.Minute60)
		case r.Figure != nil:
			out += fmt.Sprintf("%s%d ", station.Figures[r.Figure.Figure].Name, r.Figure.Hour.Sub(t0)/hourLen)
		default:
			out += fmt.Sprintf("t%d ", r.Transition.At.Sub(t0)/station.Second)
		}
	}
	return out, b
}

func finish(t testing.TB, s *Store, exporter string, upTo int64) {
	t.Helper()
	if err := s.ExportDone(t.Context(), exporter, upTo); err != nil {
		t.Fatal(err)
	}
}

func TestExportIsInTheOrderOfCommitsAndGoesOnAfterReopening(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := exporting(t, path, "x")
	late := minute(1) // closed late, and from before a clock was set back
	late.Segment = 9
	do(t, s, commit(10, []station.Minute{minute(5)}, transition(7, rules.PressureLeft, rules.Unacknowledged)))
	do(t, s, commit(11, []station.Minute{late, minute(6)}))
	do(t, s, commit(12, []station.Minute{minute(6), minute(7)})) // the first is stored already
	got, b := waiting(t, s, "x", 3)
	if got != "m5 t7 m1 " || b.From != 0 || b.To != 3 {
		t.Errorf("%q, %d to %d", got, b.From, b.To)
	}
	if m := b.Rows[2]; m.Key != press || !reflect.DeepEqual(*m.Minute, late) {
		t.Errorf("got %+v", m.Minute)
	}
	if tr := b.Rows[1].Transition; tr.Key != press || tr.Alarm != rules.PressureLeft || tr.Branch != "forming" {
		t.Errorf("got %+v", tr)
	}
	finish(t, s, "x", 2)
	s.Close()
	s = exporting(t, path, "x")
	if got, b = waiting(t, s, "x", 100); got != "m1 m6 m7 " || b.From != 2 || b.To != 5 {
		t.Errorf("after reopening %q, %d to %d", got, b.From, b.To)
	}
	finish(t, s, "x", b.To)
	if got, b = waiting(t, s, "x", 100); got != "" || b.From != b.To {
		t.Errorf("when all is done %q, %+v", got, b)
	}
	do(t, s, commit(13, []station.Minute{minute(8)}))
	if got, b = waiting(t, s, "x", 100); got != "m8 " || b.From != 5 { // a number is never given twice
		t.Errorf("after the queue was empty %q, %d to %d", got, b.From, b.To)
	}
	finish(t, s, "x", 3) // the cursor does not go back
	if got, _ = waiting(t, s, "x", 100); got != "m8 " {
		t.Errorf("after an older note %q", got)
	}
}

// A commit that is refused queues nothing, nor does one without an exporter.
func TestOnlyWhatIsStoredIsQueued(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := exporting(t, path)
	do(t, s, commit(9, []station.Minute{minute(0)}, transition(0, rules.PressureLeft, rules.Unacknowledged)))
	s.Close()
	s = exporting(t, path, "x")
	if err := s.Commit(t.Context(), []Commit{commit(10, []station.Minute{minute(1)}), commit(10, []station.Minute{minute(2)})}); err == nil {
		t.Fatal("a stale commit is taken")
	}
	do(t, s, commit(11, []station.Minute{minute(3)}))
	if got, b := waiting(t, s, "x", 100); got != "m3 " || b.To-b.From != 1 {
		t.Errorf("%q, %d to %d", got, b.From, b.To)
	}
	if err := s.Import(t.Context(), StationMinutes{Key: press, Revision: 7, Minutes: []station.Minute{minute(-5)}}); err != nil {
		t.Fatal(err)
	}
	if got, _ := waiting(t, s, "x", 100); got != "m3 m-5 " {
		t.Errorf("with an imported minute %q", got)
	}
}

// The slowest exporter holds the rows; one that is no longer configured holds none, and a
// new one begins with what comes.
func TestExportersHaveTheirOwnCursors(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := exporting(t, path, "x", "y")
	do(t, s, commit(10, []station.Minute{minute(0), minute(1), minute(2)}))
	finish(t, s, "x", 3)
	if got, _ := waiting(t, s, "y", 100); got != "m0 m1 m2 " {
		t.Errorf("y has %q", got)
	}
	s.Close()
	s = exporting(t, path, "x", "z")
	do(t, s, commit(11, []station.Minute{minute(3)}))
	if got, _ := waiting(t, s, "z", 100); got != "m3 " {
		t.Errorf("z has %q", got)
	}
	finish(t, s, "x", 4)
	finish(t, s, "z", 4)
	var n int
	if err := s.write.QueryRow(`SELECT count(*) FROM export_queue`).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d rows are left, %v", n, err)
	}
	if err := s.ExportDone(t.Context(), "nobody", 1); err == nil {
		t.Error("an unknown exporter has a cursor")
	}
}

func TestPendingAndForfeit(t *testing.T) {
	s := exporting(t, filepath.Join(t.TempDir(), "history.db"), "x")
	ctx := t.Context()
	if p, err := s.ExportPending(ctx, "x"); err != nil || p.Rows != 0 || !p.Oldest.IsZero() {
		t.Errorf("%+v, %v", p, err)
	}
	do(t, s, commit(10, []station.Minute{minute(0), minute(1), minute(2)}))
	do(t, s, commit(11, []station.Minute{minute(3)}))
	now := time.Now()
	for seq, age := range map[int]time.Duration{1: 9 * time.Hour, 2: 8 * time.Hour, 3: time.Hour, 4: 10 * time.Hour} { // the clock went back before the last
		if _, err := s.write.Exec(`UPDATE export_queue SET queued = ? WHERE seq = ?`, now.Add(-age).Unix(), seq); err != nil {
			t.Fatal(err)
		}
	}
	if p, err := s.ExportPending(ctx, "x"); err != nil || p.Rows != 4 || now.Sub(p.Oldest).Round(time.Minute) != 9*time.Hour {
		t.Errorf("%+v, %v", p, err)
	}
	for _, want := range []int64{2, 0} {
		if n, err := s.ExportForfeit(ctx, "x", now.Add(-2*time.Hour)); err != nil || n != want {
			t.Errorf("%d forfeited, %v", n, err)
		}
	}
	if got, _ := waiting(t, s, "x", 100); got != "m2 m3 " {
		t.Errorf("left %q", got)
	}
	if n, err := s.ExportForfeit(ctx, "x", now.Add(time.Hour)); err != nil || n != 2 {
		t.Errorf("%d forfeited, %v", n, err)
	}
}

// Rows whose minute is no longer stored are left out, and the batch ends behind them.
func TestRowsWithoutTheirMinute(t *testing.T) {
	s := exporting(t, filepath.Join(t.TempDir(), "history.db"), "x")
	do(t, s, commit(10, []station.Minute{minute(0), minute(1), minute(2)}))
	if _, err := s.write.Exec(`DELETE FROM minutes WHERE start = ?`, int64(minute(1).Start)); err != nil {
		t.Fatal(err)
	}
	if got, b := waiting(t, s, "x", 100); got != "m0 m2 " || b.To != 3 {
		t.Errorf("%q up to %d", got, b.To)
	}
}

// Figures of hours are queued once, with the minutes in the order of the commits, and come back as
// they were stored; one that was replaced is queued again, one that is gone is left out.
func TestFiguresAreExported(t *testing.T) {
	s := exporting(t, filepath.Join(t.TempDir(), "history.db"), "x")
	sag := hourFigure(0, station.SupplySag, 0.1)
	do(t, s, commit(10, []station.Minute{minute(0)}))
	do(t, s, withFigures(11, sag, hourFigure(0, station.Pulsation, 0.02)))
	do(t, s, withFigures(12, hourFigure(0, station.SupplySag, 0.9))) // concluded again: the first stays
	do(t, s, commit(13, []station.Minute{minute(1)}))
	got, b := waiting(t, s, "x", 100)
	if got != "m0 supply_sag0 pulsation0 m1 " || b.To != 4 {
		t.Fatalf("%q up to %d", got, b.To)
	}
	if r := b.Rows[1]; r.Key != press || !reflect.DeepEqual(*r.Figure, sag) {
		t.Errorf("got %+v, want %+v", r.Figure, sag)
	}
	finish(t, s, "x", b.To)
	if err := s.Replace(t.Context(), press, 8, nil, Act{What: "reanalyse"}, ClosedHour{t0, sag.Segment, []station.HourFigure{hourFigure(0, station.SupplySag, 0.15)}}); err != nil {
		t.Fatal(err)
	}
	if got, b = waiting(t, s, "x", 100); got != "supply_sag0 " || b.Rows[0].Figure.Value != 0.15 {
		t.Errorf("after replacing %q", got)
	}
	if _, err := s.write.Exec(`DELETE FROM figures`); err != nil {
		t.Fatal(err)
	}
	if got, b = waiting(t, s, "x", 100); got != "" || b.To != 5 {
		t.Errorf("without the figure %q up to %d", got, b.To)
	}
}

// A database of version 6 goes on where its export was, and exports figures.
func TestADatabaseOfVersion6IsBroughtUpToDate(t *testing.T) {
	s := broughtUp(t, "version6.sql", "influx")
	if got, _ := waiting(t, s, "influx", 100); got != "t9 m0 " {
		t.Errorf("waiting %q", got)
	}
	do(t, s, withFigures(15, hourFigure(2, station.SupplySag, 0.1)))
	if got, _ := waiting(t, s, "influx", 100); got != "t9 m0 supply_sag2 " {
		t.Errorf("waiting %q", got)
	}
}

// A database of the first version gets what the export needs.
func TestExportOfAnOlderDatabase(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	db, err := connect(path, 1, "journal_mode(WAL)")
	if err != nil {
		t.Fatal(err)
	}
	names, err := migrationFiles()
	if err == nil {
		err = apply(t.Context(), db, names[0], 1)
	}
	if err != nil {
		t.Fatal(err)
	}
	db.Close()
	s := exporting(t, path, "x")
	do(t, s, commit(10, []station.Minute{minute(0)}))
	if got, _ := waiting(t, s, "x", 100); got != "m0 " {
		t.Errorf("waiting %q", got)
	}
}

// BenchmarkCommitQueued is a commit of one minute of 1,000 stations, without and with an
// exporter.
func BenchmarkCommitQueued(b *testing.B) {
	for name, exporters := range map[string][]string{"alone": nil, "export": {"x"}} {
		b.Run(name, func(b *testing.B) {
			s := exporting(b, filepath.Join(b.TempDir(), "history.db"), exporters...)
			for n := 0; b.Loop(); n++ {
				c := Commit{Partition: 5, Position: uint64(n + 1)}
				for k := range 1000 {
					c.Stations = append(c.Stations, StationMinutes{Key: station.Key{Site: "s", Station: fmt.Sprint(k)}, Revision: 1, Minutes: []station.Minute{minute(n)}})
				}
				do(b, s, c)
			}
		})
	}
}
