package history

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

const ever = station.Instant(math.MaxInt64)

// drawMinute makes a minute out of anything that a commit can be given.
func drawMinute(t *rapid.T, hours int) station.Minute {
	pressure := rapid.SampledFrom([]float64{math.NaN(), 0, 1e5, 594123.456, -800, math.Inf(1), 1e300, 7.1e5})
	m := minute(rapid.IntRange(0, 60*hours-1).Draw(t, "at"))
	m.Segment = uint32(rapid.IntRange(0, 2).Draw(t, "segment"))
	m.Covered = rapid.Int64Range(1, 60e9).Draw(t, "covered")
	for i := range m.StateNs {
		m.StateNs[i] = rapid.Int64Range(0, 10e9).Draw(t, "state")
	}
	m.Strokes = rapid.Int64Range(0, 200).Draw(t, "strokes")
	m.StrokeMethod = rapid.SampledFrom([]station.Method{station.MethodNone, station.MethodTraces, station.MethodCounter, station.MethodBoth}).Draw(t, "method")
	m.Inlet = station.Microlitres(rapid.Int64Range(0, 1e9).Draw(t, "inlet"))
	m.AirReason = rapid.SampledFrom([]string{"", "no bores"}).Draw(t, "reason")
	m.InletMean, m.OutletMean = station.Gauge(pressure.Draw(t, "p1")), station.Gauge(pressure.Draw(t, "p2"))
	m.OutletMax = station.Gauge(pressure.Draw(t, "top"))
	if rapid.Bool().Draw(t, "leakless") {
		m.Leak = station.Unknown("no quiet window")
	}
	m.Leak.Value *= rapid.Float64Range(0, 3).Draw(t, "leak")
	return m
}

// sumUp gives the hours that minutes make.
func sumUp(ms []station.Minute) []Hour {
	var out []Hour
	at := map[string]int{}
	for i := range ms {
		start := ms[i].Start.Floor(hourLen)
		k := fmt.Sprint(int64(start), ms[i].Segment)
		n, ok := at[k]
		if !ok {
			n = len(out)
			at[k] = n
			out = append(out, Hour{Start: start, Segment: ms[i].Segment, OutletMax: station.Gauge(math.NaN())})
		}
		out[n].add(&ms[i])
	}
	return out
}

// noNaN makes hours comparable.
func noNaN(hs []Hour) map[string]Hour {
	out := map[string]Hour{}
	for _, h := range hs {
		if math.IsNaN(float64(h.OutletMax)) {
			h.OutletMax = -1e9
		}
		out[fmt.Sprint(int64(h.Start), h.Segment)] = h
	}
	return out
}

// sameHours tells whether the hours that a database holds are the sums of its minutes.
func sameHours(t rapid.TB, s *Store) {
	t.Helper()
	ms, err := s.Minutes(context.Background(), press, 0, ever)
	if err != nil {
		t.Fatal(err)
	}
	hs, err := s.Hours(context.Background(), press, 0, ever)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := noNaN(hs), noNaN(sumUp(ms)); !reflect.DeepEqual(got, want) {
		t.Fatalf("%d minutes:\nhours %+v\nsums  %+v", len(ms), got, want)
	}
}

// However minutes come in, in commits and imports, repeated and late, the hours are the
// sums of the minutes that are stored.
func TestHoursAreTheSumsOfTheirMinutes(t *testing.T) {
	s := fresh(t)
	position := uint64(0)
	rapid.Check(t, func(rt *rapid.T) {
		_, err := s.write.Exec(`DELETE FROM minutes; DELETE FROM hours`)
		if err != nil {
			rt.Fatal(err)
		}
		for range rapid.IntRange(1, 4).Draw(rt, "writes") {
			position++
			var ms []station.Minute
			for range rapid.IntRange(0, 8).Draw(rt, "minutes") {
				ms = append(ms, drawMinute(rt, 3))
			}
			if rapid.Bool().Draw(rt, "import") {
				err = s.Import(context.Background(), StationMinutes{Key: press, Revision: 7, Minutes: ms})
			} else {
				err = s.Commit(context.Background(), []Commit{commit(position, ms)})
			}
			if err != nil {
				rt.Fatal(err)
			}
		}
		sameHours(rt, s)
	})
}

// The figures of an hour against ones worked out by hand.
func TestMeansOfAnHour(t *testing.T) {
	s := fresh(t)
	a, b, c := minute(0), minute(1), minute(2)
	a.InletMean, a.Covered = 600e3, 60e9
	b.InletMean, b.Covered = 500e3, 20e9
	c.InletMean = station.Gauge(math.NaN())
	c.Leak = station.Unknown("off")
	a.Leak.Value, b.Leak.Value = 1e-3, 2e-3
	do(t, s, commit(1, []station.Minute{a, b, c}))
	hs, err := s.Hours(t.Context(), press, t0, t0.Add(1))
	if err != nil || len(hs) != 1 {
		t.Fatal(hs, err)
	}
	if got := float64(hs[0].InletMean()); math.Abs(got-575e3) > 1e-3 {
		t.Errorf("inlet %v, want 575000", got)
	}
	if v, low, high, ok := hs[0].Leak(); !ok || math.Abs(v-1.25e-3) > 1e-12 || math.Abs(low-9e-4) > 1e-12 || math.Abs(high-11e-4) > 1e-12 {
		t.Errorf("leak %v (%v to %v), %v", v, low, high, ok)
	}
	if h := hs[0]; h.Minutes != 3 || h.Strokes != 183 || h.Inlet != 15 || h.OutletMax != 900e3 {
		t.Errorf("%+v", h)
	}
	if _, _, _, ok := (&Hour{}).Leak(); ok || !math.IsNaN(float64((&Hour{}).OutletMean())) {
		t.Error("an empty hour has figures")
	}
}

// A database of version 1 keeps its data, and its minutes become hours.
func TestADatabaseOfVersion1IsBroughtUpToDate(t *testing.T) {
	s := broughtUp(t, "version1.sql")
	ms, err := s.Minutes(t.Context(), press, 0, ever)
	if err != nil || len(ms) != 4 || !reflect.DeepEqual(ms[0], minute(0)) {
		t.Fatalf("minutes %+v, %v", ms, err)
	}
	sameHours(t, s)
	hs, _ := s.Hours(t.Context(), press, 0, ever)
	if len(hs) != 3 || hs[0].Minutes != 2 || hs[0].Traced != 1 || hs[0].OutletMax != 910e3 || hs[2].Airless != 1 || hs[2].Uncounted != 1 {
		t.Errorf("hours %+v", hs)
	}
	totals, _ := s.Totals(t.Context())
	pos, _ := s.Positions(t.Context())
	open, _ := s.OpenAlarms(t.Context())
	n, ok, err := s.LoadSnapshot(t.Context(), 5)
	if totals[press].Strokes != 313 || pos[5] != 12 || len(open) != 2 || !ok || err != nil || len(n.Blob) != 3 {
		t.Errorf("totals %+v, positions %v, %d alarms, snapshot %v %v", totals, pos, len(open), ok, err)
	}
	if due, err := s.OutboxDue(t.Context(), "phone", t0, 9); err != nil || len(due) != 2 {
		t.Errorf("outbox %+v, %v", due, err)
	}
	if l, err := s.Lineage(t.Context()); err != nil || l != (Lineage{}) {
		t.Errorf("lineage %+v, %v", l, err)
	}
	do(t, s, commit(13, []station.Minute{minute(71)}, transition(20, rules.OutletLeak, rules.Normal)))
	sameHours(t, s)
}

// Minutes of anything, stored by version 1 and summed up by its migration, are what the
// program sums up.
func TestTheMigrationSumsUpAsTheProgramDoes(t *testing.T) {
	s := fresh(t)
	names, err := migrationFiles()
	if err != nil {
		t.Fatal(err)
	}
	text, err := migrations.ReadFile(names[1])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.write.Exec(`INSERT INTO stations VALUES (1, 'northdock', 'press-4')`); err != nil {
		t.Fatal(err)
	}
	random := rapid.Custom(func(t *rapid.T) station.Minute { return drawMinute(t, 24) })
	for seed := range 800 {
		m := random.Example(seed)
		if _, err := s.stmt.minute.Exec(chargeValues(minuteValues([]any{1, int64(7)}, &m), &cost.Charge{})...); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.write.Exec(`DROP TABLE hours; DROP TABLE notes; DROP TABLE audit; DROP TABLE lineage; DROP TABLE resumed; DROP INDEX outbox_by_transition`); err != nil {
		t.Fatal(err)
	}
	if _, err := s.write.Exec(string(text) + `; ALTER TABLE hours ADD COLUMN revised INTEGER NOT NULL DEFAULT 0`); err != nil { // version 13 adds the column
		t.Fatal(err)
	}
	sameHours(t, s)
}

func TestNotesAndAudit(t *testing.T) {
	s := fresh(t)
	n := Note{Key: press, At: t0.Add(5), Who: "jo", Text: "new seals"}
	if err := s.AddNote(t.Context(), n); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Notes(t.Context(), press, t0, t0.Add(6)); err != nil || len(got) != 1 || got[0] != n {
		t.Errorf("notes %+v, %v", got, err)
	}
	if got, _ := s.Notes(t.Context(), press, t0, t0.Add(5)); len(got) != 0 {
		t.Errorf("notes before it %+v", got)
	}
	a := Act{At: t0, Who: "jo", What: "restore", Target: "history", Detail: "b.tar.gz"}
	if err := s.AddAct(t.Context(), a); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Acts(t.Context(), t0, t0.Add(1)); err != nil || len(got) != 1 || got[0] != a {
		t.Errorf("audit %+v, %v", got, err)
	}
}
