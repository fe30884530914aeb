package app

import (
	"context"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// A unit that begins without a snapshot knows what people recorded, and what was run since, from the
// history; what had no effect is left out.
func TestServicesAreRecalledFromTheHistory(t *testing.T) {
	ctx := t.Context()
	s, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	k := station.Key{Site: "north", Station: "a"}
	began := station.InstantOf(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	hour := 60 * station.Minute60
	for i, a := range []history.Act{
		{What: "done", Target: k.String(), Who: "Ana", Service: station.FilterElement, Date: "2026-03-01", Document: "sheet 1"},
		{What: "done", Target: k.String(), Who: "Ana", Service: station.HoseReplacement, Date: "2026-02-01", Document: "sheet 2"},
		{What: "done", Target: k.String(), Who: "Bea", Service: station.FilterElement, Date: "2026-03-02", Document: "sheet 3", Outcome: rules.Outcome{Result: rules.Refused, Reason: "x"}},
		{What: "inspected", Target: k.String(), Who: "Ana", Document: "certificate 4 (no effect: see page 2)"},
		{What: "done", Target: "north/b", Who: "Ana", Service: station.FilterElement, Date: "2026-03-01", Document: "sheet 5"},
	} {
		a.At = began.Add(int64(i) * station.Second)
		if err := s.AddAct(ctx, a); err != nil {
			t.Fatal(err)
		}
	}
	minutes := make([]station.Minute, 5*60)
	for i := range minutes {
		minutes[i] = station.Minute{Start: began.Add((int64(i) - 60) * station.Minute60), Strokes: 10, StrokeMethod: station.MethodCounter}
	}
	minutes[100].StrokeMethod = station.MethodNone
	if err := s.Commit(ctx, []history.Commit{{Partition: 1, Position: 1, Stations: []history.StationMinutes{{Key: k, Minutes: minutes}}}}); err != nil {
		t.Fatal(err)
	}
	a := &App{store: s}
	records, err := a.recorded(ctx)
	if err != nil || len(records[k]) != 3 {
		t.Fatalf("%+v, %v", records, err)
	}
	plate := station.Plate{Key: k, Inspection: "2026-03-20", Service: station.ServiceText([]station.Service{
		{What: station.FilterElement, Last: "2025-01-01", Cycles: 100_000, Before: 777}, {What: station.SilencerService, Last: "2026-03-01", Cycles: 50_000}})}
	p := &partition{store: s, log: slog.New(slog.DiscardHandler), catalog: &catalog{records: records}}
	u := &unit{Unit: pipeline.New(plate, "r"), key: k}
	p.recall(u, began.Add(3*hour))
	got := map[station.ServiceKind]rules.Due{}
	for _, d := range u.Dues(began.Add(3 * hour)) {
		got[d.What] = d
	}
	// since the record the hours from 12:00 to 15:00 with two strokes a cycle, one minute not known; since
	// the beginning of the day four hours and that minute
	if d := got[station.FilterElement]; d.Last != "2026-03-01" || d.Document != "sheet 1" || d.CyclesLeft != 100_000-3*60*5 || d.Lost != 1 {
		t.Errorf("filter %+v", d)
	}
	if d := got[station.SilencerService]; d.CyclesLeft != 50_000-4*60*5 || d.Lost != 1 {
		t.Errorf("silencer %+v", d)
	}
	if d := got[station.HoseReplacement]; d.Last != "2026-02-01" || d.By != "Ana" {
		t.Errorf("hose %+v", d)
	}
	if d := got[station.TankInspection]; d.Document != "certificate 4 (no effect: see page 2)" || d.Date != "" {
		t.Errorf("tank %+v", d)
	}
	if _, err := a.recorded(cancelled()); err == nil {
		t.Error("a history that cannot be read")
	}
}

func cancelled() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return ctx
}
