package history

import (
	"math"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

func hourFigure(hour int, f station.Figure, v float64) station.HourFigure {
	start := t0.Add(int64(hour) * hourLen)
	return station.HourFigure{Hour: start, Segment: 3, Figure: f, Estimate: station.Estimate{
		Value: v, Low: v - 1, High: v + 1, Method: station.MethodTraces, Confidence: 0.75, At: start.Add(hourLen - 5)}}
}

func withFigures(position uint64, list ...station.HourFigure) Commit {
	return Commit{Partition: 5, Position: position, Stations: []StationMinutes{{Key: press, Revision: 7, Figures: list}}}
}

// Figures come back as they were, what is concluded again does not change them, and
// what is no number is not stored.
func TestFiguresAreKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := open(t, path)
	bare := hourFigure(1, station.Pulsation, 0.02)
	bare.Low, bare.High = 0, 0
	odd := hourFigure(1, station.LeakFlow, math.NaN())
	do(t, s, withFigures(1, hourFigure(0, station.SupplySag, 0.1), hourFigure(0, station.Pulsation, 0.02), odd, bare))
	do(t, s, withFigures(2, hourFigure(0, station.SupplySag, 0.9)))
	if err := s.Import(t.Context(), StationMinutes{Key: press, Figures: []station.HourFigure{hourFigure(-1, station.SupplySag, 0.3)}}); err != nil {
		t.Fatal(err)
	}
	want := []station.HourFigure{hourFigure(-1, station.SupplySag, 0.3), hourFigure(0, station.Pulsation, 0.02), hourFigure(0, station.SupplySag, 0.1), bare}
	for range 2 {
		got, err := s.Figures(t.Context(), press, 0, ever)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%v\ngot  %+v\nwant %+v", err, got, want)
		}
		if got, _ := s.Figures(t.Context(), press, t0, t0.Add(hourLen)); len(got) != 2 {
			t.Errorf("of one hour %+v", got)
		}
		s.Close()
		s = open(t, path)
	}
}

// Replaced hours are as given, also where less is known; others stay.
func TestFiguresAreReplacedByHours(t *testing.T) {
	s := fresh(t)
	do(t, s, commit(1, []station.Minute{minute(0), minute(60)}))
	do(t, s, withFigures(2, hourFigure(0, station.SupplySag, 0.1), hourFigure(0, station.Pulsation, 0.02), hourFigure(1, station.SupplySag, 0.2)))
	is := []ClosedHour{
		{t0, 3, []station.HourFigure{hourFigure(0, station.SupplySag, 0.15)}},
		{t0.Add(hourLen), 3, []station.HourFigure{hourFigure(1, station.SupplySag, 0.2)}},
		{t0.Add(2 * hourLen), 3, []station.HourFigure{hourFigure(2, station.SupplySag, 0.2)}}, // no minute is stored
	}
	changed, err := s.CompareFigures(t.Context(), press, is)
	if err != nil || len(changed) != 1 || changed[0].Start != t0 {
		t.Fatalf("%+v, %v", changed, err)
	}
	if err := s.Replace(t.Context(), press, 8, nil, Act{What: "reanalyse"}, changed...); err != nil {
		t.Fatal(err)
	}
	got, _ := s.Figures(t.Context(), press, 0, ever)
	if len(got) != 2 || got[0].Value != 0.15 || got[1].Value != 0.2 {
		t.Errorf("%+v", got)
	}
	if changed, _ := s.CompareFigures(t.Context(), press, is); len(changed) != 0 {
		t.Errorf("still %+v", changed)
	}
}

func TestFiguresGoWithTheHours(t *testing.T) {
	s := fresh(t)
	do(t, s, withFigures(1, hourFigure(0, station.SupplySag, 0.1), hourFigure(1, station.SupplySag, 0.2), hourFigure(2, station.SupplySag, 0.3)))
	n, _, err := s.Retain(t.Context(), Retention{Minutes: ever / 2, Hours: t0.Add(2 * hourLen)})
	got, _ := s.Figures(t.Context(), press, 0, ever)
	if n != 2 || err != nil || len(got) != 1 || got[0].Value != 0.3 {
		t.Errorf("%d deleted, %v, left %+v", n, err, got)
	}
}

// A database of version 4 keeps its data, and takes figures.
func TestADatabaseOfVersion4IsBroughtUpToDate(t *testing.T) {
	s := broughtUp(t, "version4.sql")
	sameHours(t, s)
	ms, _ := s.Minutes(t.Context(), press, 0, ever)
	alarms, err := s.OpenAlarms(t.Context())
	if err != nil || len(ms) != 4 || len(alarms) != 2 || alarms[0].To != rules.Shelved || alarms[0].By != "Ada" || alarms[0].Why != "fitter ordered" {
		t.Errorf("%d minutes, %+v, %v", len(ms), alarms, err)
	}
	if notes, _ := s.Notes(t.Context(), press, 0, ever); len(notes) != 1 || notes[0].Text != "new seals" {
		t.Errorf("notes %+v", notes)
	}
	if pos, _ := s.Positions(t.Context()); pos[5] != 13 {
		t.Errorf("positions %v", pos)
	}
	do(t, s, withFigures(14, hourFigure(0, station.SupplySag, 0.1)))
	if got, err := s.Figures(t.Context(), press, 0, ever); err != nil || len(got) != 1 {
		t.Errorf("%+v, %v", got, err)
	}
}

// A reader sees what a program that has the file open commits, and refuses other versions.
func TestReaderBesideTheProgram(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	if _, err := OpenReader(t.Context(), path); err == nil {
		t.Error("a file that is not there was opened")
	}
	s := open(t, path)
	r, err := OpenReader(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	do(t, s, commit(1, []station.Minute{minute(0)}))
	do(t, s, withFigures(2, hourFigure(0, station.SupplySag, 0.1)))
	hours, err := r.Hours(t.Context(), press, 0, ever)
	got, err2 := r.Figures(t.Context(), press, 0, ever)
	if err != nil || err2 != nil || len(hours) != 1 || len(got) != 1 {
		t.Errorf("%d hours, %d figures, %v, %v", len(hours), len(got), err, err2)
	}
	if _, err := r.s.read.Exec(`DELETE FROM figures`); err == nil {
		t.Error("a reader deleted")
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
	for v, want := range map[int]string{99: "newer program", 4: "start the program once"} {
		if _, err := s.write.Exec(`UPDATE schema_version SET version = ?`, v); err != nil {
			t.Fatal(err)
		}
		if _, err := OpenReader(t.Context(), path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("version %d: %v", v, err)
		}
	}
}
