package history

import (
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
)

// A minute that is stored, a gap of three behind it and one more minute; late samples make the gap three minutes and change the
// last one. The sums are by hand: minute(n) has 60+n strokes, 40 s stroking and 20 s holding.
func TestRebuild(t *testing.T) {
	s := exporting(t, filepath.Join(t.TempDir(), "history.db"), "a")
	price := cost.Charge{Known: true, Inlet: 5, Energy: 10, Money: 3, Currency: "EUR"}
	first := commit(1, []station.Minute{minute(0), minute(4)})
	first.Stations[0].Gaps = []station.Gap{{From: minute(1).Start, To: minute(4).Start, Segment: 3}}
	first.Stations[0].Charges = []cost.Charge{price, price}
	at := func(sec int) station.Instant { return t0.Add(int64(sec) * station.Second) }
	first.Stations[0].Intervals = []station.Interval{{State: station.Stroking, From: at(0), To: at(60), Segment: 3}, {State: station.Blind, From: at(60), To: at(250), Segment: 3},
		{State: station.Holding, From: at(250), To: at(300), Segment: 3}}
	first.Late = LateNews{
		Points: []Point{{Key: press, Position: 1, Record: 2, Floor: at(58), Segment: 3, Version: "v", State: []byte("state")}},
		Holes:  []Hole{{Key: press, Channel: station.InletPressure, From: at(60), To: at(240)}},
		Late:   []Late{{Key: press, Position: 3, First: at(60), Last: at(239), Since: at(60), Arrival: at(400), Samples: 9}, {Key: press, Position: 4, First: at(300), Last: at(310), Since: at(60), Arrival: at(410), Samples: 1}},
	}
	do(t, s, first)
	drain(t, s)

	last := minute(4)
	last.Strokes = 1
	r := &Rebuilt{Key: press, Revision: 7, Segment: 3, From: minute(0).Start, To: minute(5).Start, UpTo: 9, At: time.Unix(1767225600, 0),
		Minutes: []station.Minute{minute(0), minute(1), minute(2), minute(3), last}, Charges: []cost.Charge{price, price, price, price, price},
		Intervals: []station.Interval{{State: station.Stroking, From: at(0), To: at(200), Segment: 3}, {State: station.Starved, From: at(200), To: at(290), Segment: 3}}}
	c, err := s.Rebuild(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	if c.Minutes != 4 || c.Totals.Strokes != 61+62+63+1-64 || c.Totals.StateNs[station.Blind] != -180e9 || c.Totals.StateNs[station.Stroking] != 120e9 {
		t.Errorf("corrected by %+v", c)
	}
	sameHours(t, s)
	ms, _ := s.Minutes(t.Context(), press, 0, ever)
	if len(ms) != 5 || ms[0].Revised || !ms[1].Revised || !ms[4].Revised || ms[4].Strokes != 1 {
		t.Errorf("minutes %+v", ms)
	}
	totals, _ := s.Totals(t.Context())
	if got := totals[press]; got.Strokes != 60+61+62+63+1 || got.StateNs[station.Blind] != 0 || got.StateNs[station.Stroking] != 200e9 {
		t.Errorf("totals %+v", got)
	}
	spent, _ := s.TotalCosts(t.Context())
	hours, _ := s.Costs(t.Context(), press, 0, ever)
	if want := (cost.Account{{Currency: "EUR", Minutes: 5, Inlet: 25, Energy: 50, Money: 15}}); !reflect.DeepEqual(spent[press], want) || !reflect.DeepEqual(hours, want) {
		t.Errorf("costs %+v, of hours %+v", spent[press], hours)
	}
	if gaps, _ := s.Gaps(t.Context(), press, 0, ever); len(gaps) != 0 {
		t.Errorf("gaps %v", gaps)
	}
	want := []station.Interval{{State: station.Stroking, From: at(0), To: at(200), Segment: 3}, {State: station.Starved, From: at(200), To: at(290), Segment: 3}, {State: station.Holding, From: at(290), To: at(300), Segment: 3}}
	if is, _ := s.Intervals(t.Context(), press, 0, ever); !reflect.DeepEqual(is, want) {
		t.Errorf("states %v, want %v", is, want)
	}
	if sent := drain(t, s); len(sent) != 4 || !sent[0].Minute.Revised || sent[0].Minute.Start != minute(1).Start {
		t.Errorf("exported again: %+v", sent)
	}
	if w, _ := s.LateWaiting(t.Context()); len(w) != 1 || w[0].Records != 1 { // the minute of the other is not closed
		t.Errorf("waits: %+v", w)
	}
	ceilings, _ := s.Ceilings(t.Context())
	if got := ceilings[press].Totals; got.StateNs[station.Blind] != 180e9 || got.Strokes != 124 {
		t.Errorf("ceiling %+v", got)
	}

	// the same again changes nothing
	if c, err = s.Rebuild(t.Context(), r); err != nil || c.Minutes != 0 || c.Totals != (board.Totals{}) {
		t.Errorf("again: %+v, %v", c, err)
	}
	if sent := drain(t, s); len(sent) != 0 {
		t.Errorf("exported once more: %+v", sent)
	}
	// an analysis in the log's order does not take revised minutes back
	if d, err := s.Compare(t.Context(), press, []station.Minute{minute(4)}); err != nil || len(d) != 0 {
		t.Errorf("compared: %+v, %v", d, err)
	}
}

// drain returns what waits to be exported, and removes it.
func drain(t *testing.T, s *Store) []ExportRow {
	t.Helper()
	b, err := s.Export(t.Context(), "a", 100)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.ExportDone(t.Context(), "a", b.To); err != nil {
		t.Fatal(err)
	}
	return b.Rows
}

func TestPointsOfLateSamples(t *testing.T) {
	s := fresh(t)
	c := commit(1, []station.Minute{minute(0)})
	for n := range mostPoints + 3 {
		c.Late.Points = append(c.Late.Points, Point{Key: press, Position: uint64(10 + n), Floor: t0.Add(int64(n)), Segment: 3, Version: "v", State: []byte{byte(n)}})
	}
	do(t, s, c)
	if err := s.ForgetLate(t.Context(), t0, 14); err != nil {
		t.Fatal(err)
	}
	list, err := s.Points(t.Context())
	if err != nil || len(list) != mostPoints-1 || list[0].Position != 14 {
		t.Fatalf("%d points left: %+v, %v", len(list), list, err)
	}
	if err := s.Point(t.Context(), &list[0]); err != nil || !reflect.DeepEqual(list[0].State, []byte{4}) {
		t.Errorf("%+v, %v", list[0], err)
	}
	if _, err := s.write.Exec(`UPDATE points SET state = x'00' WHERE position = 14`); err != nil {
		t.Fatal(err)
	}
	if err := s.Point(t.Context(), &list[0]); err == nil {
		t.Error("a damaged state is used")
	}
}
