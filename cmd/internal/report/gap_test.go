package report

import (
	"bytes"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// Of a gap nothing is known: its minutes count among those of unknown strokes and air, its time is blind.
func TestAGapIsUnknown(t *testing.T) {
	var full [station.NumStates]int64
	full[station.Holding] = 60e9
	ms := []station.Minute{{Covered: 60e9, StateNs: full, Strokes: 5, StrokeMethod: station.MethodCounter}}
	gs := []station.Gap{{From: station.Instant(station.Minute60), To: station.Instant(10 * station.Minute60)}}
	o := totals(ms, gs, 1)
	if *o.Strokes != 5 || o.StrokesOf != [2]int{1, 10} || o.AirOf != [2]int{1, 10} || o.Blind != 540 || o.Holding != 60 {
		t.Errorf("%+v", o)
	}
	if o.Reason["strokes_known_minutes"] != noSample || o.Reason["air_known_minutes"] != noSample {
		t.Errorf("reasons %v", o.Reason)
	}
	if o := totals(nil, gs, 1); o.Strokes != nil || o.Inlet != nil || o.Reason["strokes"] != noSample || o.Duty != nil {
		t.Errorf("a gap alone: %+v", o)
	}
}

// A span takes the whole minutes of a gap that begin in it.
func TestWithinCutsGaps(t *testing.T) {
	out := pipeline.Output{Gaps: []station.Gap{{From: 0, To: station.Instant(10 * station.Minute60)}}}
	at := func(s int64) station.Instant { return station.Instant(s * station.Second) }
	for _, c := range []struct{ from, to, first, end int64 }{{0, 0, 0, 600}, {61, 0, 120, 600}, {120, 121, 120, 180}, {60, 300, 60, 300}, {600, 0, 0, 0}} {
		got := Within(&out, at(c.from), at(c.to)).Gaps
		if c.end == 0 && len(got) != 0 || c.end != 0 && (len(got) != 1 || got[0] != (station.Gap{From: at(c.first), To: at(c.end)})) {
			t.Errorf("%d to %d: %v", c.from, c.to, got)
		}
	}
}

func TestTheTableSaysWhereNoSampleWas(t *testing.T) {
	r := Report{Gaps: gaps([]station.Gap{{From: 0, To: station.Instant(10 * station.Minute60)}})}
	var b bytes.Buffer
	if err := r.Table(&b); err != nil {
		t.Fatal(err)
	}
	if want := "from 1970-01-01T00:00:00Z to 1970-01-01T00:10:00Z, 10 min"; !strings.Contains(b.String(), want) {
		t.Errorf("no %q in\n%s", want, b.String())
	}
}
