package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// thirty returns thirty minutes of 10 strokes and 1 L of delivered air each, of which some at
// the end are unknown.
func thirty(strokesUnknown, airUnknown int) []station.Minute {
	ms := make([]station.Minute, 30)
	for i := range ms {
		m := &ms[i]
		m.Start, m.Covered = station.Instant(int64(i)*station.Minute60), station.Minute60
		m.Strokes, m.StrokeMethod = 10, station.MethodCounter
		m.Delivered, m.DeliveredLow, m.DeliveredHigh = 1e6, 0.9e6, 1.1e6
		if i >= 30-strokesUnknown {
			m.StrokeMethod, m.Strokes, m.AirReason = station.MethodNone, 4, "the outlet is frozen"
		}
		if i >= 30-airUnknown {
			m.AirReason = "the outlet is frozen"
		}
	}
	return ms
}

// A total over a recording with three unknown minutes of thirty is the sum of the 27 others:
// 270 strokes and 27 L. What is unknown throughout stays null, with a reason.
func TestTotalsOfPartOfTheMinutes(t *testing.T) {
	o := totals(thirty(3, 3), nil, 1)
	if o.Strokes == nil || *o.Strokes != 270 || *o.Cycles != 135 || o.StrokesOf != [2]int{27, 30} {
		t.Errorf("strokes %v over %v minutes, want 270 over 27 of 30", o.Strokes, o.StrokesOf)
	}
	if o.Delivered == nil || *o.Delivered != 27 || o.AirOf != [2]int{27, 30} || *o.DeliveredBand != [2]float64{27 * 0.9, 27 * 1.1} {
		t.Errorf("air %v, band %v over %v minutes, want 27 L over 27 of 30", o.Delivered, o.DeliveredBand, o.AirOf)
	}
	r := Report{Reference: "anr", Totals: o}
	b, err := json.Marshal(r.Totals)
	if err != nil || !strings.Contains(string(b), `"strokes_known_minutes":[27,30]`) || !strings.Contains(string(b), `"air_known_minutes":"the outlet is frozen"`) {
		t.Errorf("JSON %s, %v", b, err)
	}
	var table bytes.Buffer
	if err := r.Table(&table); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"270 (135.0 cycles), of 27 of 30 minutes; the others: the outlet is frozen", "27.0 L anr (90 %: 24.3 to 29.7)"} {
		if !strings.Contains(table.String(), want) {
			t.Errorf("the table lacks %q:\n%s", want, table.String())
		}
	}

	o = totals(thirty(0, 30), nil, 1)
	if *o.Strokes != 300 || o.Inlet != nil || o.Delivered != nil || o.InletBand != nil || o.Reason["air"] == "" || o.Reason["strokes"] != "" {
		t.Errorf("air unknown throughout: %+v", o)
	}
	o = totals(thirty(30, 0), nil, 1)
	if o.Strokes != nil || o.Cycles != nil || o.Reason["strokes"] == "" {
		t.Errorf("strokes unknown throughout: %+v", o)
	}
	if o = totals(thirty(0, 0), nil, 1); o.StrokesOf != [2]int{30, 30} || len(o.Reason) != 1 {
		t.Errorf("all is known: %+v", o)
	}
}
