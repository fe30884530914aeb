package main

import (
	"encoding/json"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/report"
)

// Two rows with 235 years between them (2026 and 2261, about what an instant can hold) are two minutes and a gap. Nothing is
// made for each minute between: 123 million of them took 23 GB.
func TestReplayOverTwoCenturies(t *testing.T) {
	cfg := write(t, "c.yaml", oneStation)
	path := write(t, "t.csv", "time,inlet_pressure,outlet_pressure,cycles\n2026-01-01T00:00:30Z,600,900,1\n2261-01-01T00:00:10Z,600,900,2\n")
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	code, out, errOut := call("replay", "--config", cfg, "--json", path)
	runtime.ReadMemStats(&after)
	if code != exitOK {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 64 {
		t.Errorf("%d MB allocated", mb)
	}
	var r struct {
		Totals struct {
			StrokesOf [2]int            `json:"strokes_known_minutes"`
			Blind     float64           `json:"blind_s"`
			Off       float64           `json:"off_s"`
			Reason    map[string]string `json:"reason"`
		}
		Minutes []struct{ Minute string }
		Gaps    []report.Gap
		States  []struct{ State, From, To string }
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if len(r.Minutes) != 2 || len(r.Gaps) != 1 || r.Gaps[0].From != "2026-01-01T00:01:00Z" || r.Gaps[0].To != "2261-01-01T00:00:00Z" {
		t.Errorf("%d minutes, gaps %+v", len(r.Minutes), r.Gaps)
	}
	const minutes = 123598079 // from 2026-01-01T00:01 to 2261-01-01T00:00: 85,832 days (of 235 years 57 are leap years) of 1440 min, less one
	if n := r.Gaps[0].Minutes; n != minutes || r.Totals.StrokesOf[1] != minutes+2 || r.Totals.Reason["air_known_minutes"] == "" {
		t.Errorf("%d minutes in the gap, %v known, reasons %v", n, r.Totals.StrokesOf, r.Totals.Reason)
	}
	// the states partition the time from the first to the last sample
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	n := len(r.States)
	if n == 0 || r.States[0].From != "2026-01-01T00:00:30Z" || r.States[n-1].To != "2261-01-01T00:00:10Z" {
		t.Fatalf("states %+v", r.States)
	}
	for i := 1; i < n; i++ {
		if r.States[i].From != r.States[i-1].To {
			t.Errorf("states %+v", r.States)
		}
	}
	span := float64(station.InstantOf(at(r.States[n-1].To)).Sub(station.InstantOf(at(r.States[0].From)))) * 1e-9
	if math.Abs(r.Totals.Blind-span) > 60 { // all but the moments about the two samples
		t.Errorf("blind for %g s of %g s", r.Totals.Blind, span)
	}
	if _, out, _ := call("replay", "--config", cfg, "--explain", path); strings.Count(out, "\n") > 2000 {
		t.Errorf("a table of %d lines", strings.Count(out, "\n"))
	}
}
