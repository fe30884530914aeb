package web

import (
	"math"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// find gives the figure of that name.
func find(t *testing.T, s board.Station, name string) figure {
	t.Helper()
	for _, f := range figures(&s) {
		if f.Name == name {
			return f
		}
	}
	t.Fatalf("no figure %q", name)
	return figure{}
}

func TestFigures(t *testing.T) {
	bound := press()
	bound.Status.Estimates[station.SupplySag].Method = station.MethodBound
	broken := press()
	broken.Status.Outlet.Value = math.NaN()
	for _, c := range []struct {
		name    string
		station board.Station
		figure  string
		want    figure
	}{
		{"pressure in kPa", press(), "Inlet", figure{"Inlet", "594", "kPa gauge", "", true}},
		{"no minus before zero", shutDown(), "Inlet", figure{"Inlet", "0", "kPa gauge", "", true}},
		{"rate a minute", press(), "Stroke rate", figure{"Stroke rate", "75", "/min", "counted, timed by the traces", true}},
		{"rate unknown", standing(), "Stroke rate", figure{"Stroke rate", "unknown", "", "strokes are not visible: no counter, and too few samples a second", false}},
		{"duty", press(), "Duty today", figure{"Duty today", "75", "%", "of fed time since midnight", true}},
		{"never fed", shutDown(), "Duty today", figure{"Duty today", "unknown", "", "not fed in any closed minute since midnight", false}},
		{"leak with band", press(), "Leak", figure{"Leak", "18.0", "L/min ANR", "90 %: 16.8 to 19.8; from the outlet's fall while the piston stood", true}},
		{"no leak seen", standing(), "Leak", figure{"Leak", "none seen", "", "up to 1.2 L/min ANR would not show; from the outlet's fall while the piston stood", true}},
		{"leak without a reason", unheard(), "Leak", figure{"Leak", "unknown", "", "not known yet", false}},
		{"bound", bound, "Inlet sag", figure{"Inlet sag", "12", "%", "a bound, not a value", true}},
		{"silent outlet", quiet(), "Outlet", figure{"Outlet", "unknown", "", "no data since 2026-03-02 11:50:00 UTC; last seen at 880 kPa gauge", false}},
		{"silent rate", quiet(), "Stroke rate", figure{"Stroke rate", "unknown", "", "no data since 2026-03-02 11:50:00 UTC", false}},
		{"not finite", broken, "Outlet", figure{"Outlet", "unknown", "", "the reading is no finite number; last seen at 880 kPa gauge", false}},
		{"never heard", unheard(), "Outlet", figure{"Outlet", "unknown", "", "no samples yet", false}},
	} {
		if got := find(t, c.station, c.figure); got != c.want {
			t.Errorf("%s:\n got %+v\nwant %+v", c.name, got, c.want)
		}
	}
}

func TestCautions(t *testing.T) {
	charged := shutDown()
	charged.Alarms = nil
	for _, c := range []struct {
		name    string
		station board.Station
		want    string
	}{
		{"residual", charged, rules.CautionStored},
		{"off", off(), rules.CautionStored},
		{"silent", quiet(), rules.CautionSilent},
		{"never heard", unheard(), rules.CautionSilent},
		{"stroking", standing(), ""},
		{"said by the alarm", shutDown(), ""},
	} {
		if got := describe(&c.station); got.Caution != c.want {
			t.Errorf("%s: caution %q, want %q", c.name, got.Caution, c.want)
		}
	}
	if v := describe(ptr(shutDown())); v.Alarms[0].Caution != rules.CautionStored {
		t.Errorf("the alarm does not carry the caution: %+v", v.Alarms[0])
	}
}

func ptr(s board.Station) *board.Station { return &s }

func TestEveryStateHasWords(t *testing.T) {
	for s := range station.NumStates {
		if words[s] == "" {
			t.Errorf("no words for %v", s)
		}
	}
	for m := station.MethodTraces; m < station.NumMethods; m++ {
		if how[m] == "" {
			t.Errorf("no words for the method %v", m)
		}
	}
}

func TestSilenceOnChange(t *testing.T) {
	s := quiet()
	s.Plate.Cadence = station.OnChange
	v := describe(&s)
	if v.State != words[station.Stroking] || !strings.Contains(v.Reason, "no change reported since") || !find(t, s, "Outlet").Known {
		t.Errorf("%+v", v)
	}
}

func TestAlarmOrder(t *testing.T) {
	list := []board.Alarm{
		{State: rules.ReturnedUnacknowledged, Transition: rules.Transition{Alarm: "past", Priority: rules.High, Raised: 1}},
		{State: rules.Unacknowledged, Transition: rules.Transition{Alarm: "finding", Priority: rules.Finding, Raised: 1}},
		{State: rules.Acknowledged, Transition: rules.Transition{Alarm: "new", Priority: rules.High, Raised: 9}},
		{State: rules.Unacknowledged, Transition: rules.Transition{Alarm: "old", Priority: rules.High, Raised: 5}},
	}
	var got []string
	for _, a := range alarms(list) {
		got = append(got, a.Name)
	}
	if s := strings.Join(got, " "); s != "old new past finding" {
		t.Errorf("order %q", s)
	}
	if list[0].Transition.Alarm != "past" {
		t.Error("the board's own list was sorted")
	}
}

// Colour is never the only cue: words and shapes differ too.
func TestPrioritiesDifferByWordAndShape(t *testing.T) {
	seen := map[string]bool{}
	for p := rules.Finding; p <= rules.High; p++ {
		v := priorities[p]
		if v.Word == "" || v.Shape == "" || seen[v.Word] || seen[v.Shape] {
			t.Errorf("%v: %+v", p, v)
		}
		seen[v.Word], seen[v.Shape] = true, true
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "0 s", -time.Hour: "0 s", 59 * time.Second: "59 s", 100 * time.Second: "1 min 40 s",
		3 * time.Hour: "3 h 0 min", 25 * time.Hour: "1 d 1 h"} {
		if got := span(int64(d)); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}
