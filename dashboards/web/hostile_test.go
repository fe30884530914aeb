package web

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"maps"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"strokewise/analyzer/station"
	"strokewise/dashboards/api"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/dashboards/trail"
	"strokewise/deploy/hostile"
	"strokewise/rules"
)

// notPages are the routes whose answer is no page: those of files, probes, streams and JSON, and what only forms send.
var notPages = []string{"/static/", "/metrics", "/healthz", "/readyz", "/events", "/station/{site}/{station}/trace", "/station/{site}/{station}/command", csvPath}

// named puts a text wherever the outside can put text. Of an account of costs, which needs no text of
// anybody's, there are only the stations' names.
func named(t *testing.T, text string) Options {
	t.Helper()
	k := station.Key{Site: text, Station: text}
	s := press()
	s.Plate.Key, s.Plate.Serial, s.Plate.Inspection = k, text, "2026-02-01"
	s.Plate.Branch, s.Status.StateReason = text, station.StateReason{Is: station.SensorFrozen, Sides: station.OutletSide}
	s.Status.Inlet = station.Unknown(text)
	s.AtWork = []rules.AtWork{{Who: text, What: text, From: at(-time.Hour), Until: at(time.Hour)}}
	s.Dues = []rules.Due{{What: station.ReliefTest, Date: "2026-04-01", Last: "2025-04-01", Document: text, By: text}}
	a := &s.Alarms[0].Transition
	a.Key, a.Message, a.Alarm, a.Caution, a.By, a.Why, a.Branch = k, text, text, text, text, text, text
	a.Evidence = []rules.Evidence{{Name: text, Text: text}}
	b := &tests{state: BacktestState{Of: BacktestOf{Changes: text, Station: text}, Began: at(-time.Minute), Ended: at(0), Done: 1, Problem: text, Verdict: text,
		Spans: []BacktestSpan{{k, at(-time.Hour), at(0)}}, Rows: []BacktestRow{{Key: k, Alarm: text, Kind: "new", Raised: at(-time.Minute)}}, Sums: []BacktestSum{{text, 0, 1, 0, 2}}}}
	o := fixture(s)
	o.Version, o.Ready, o.Backtest = text, nil, b
	o.Explain = func(context.Context, station.Key) ([]station.Explanation, error) {
		return []station.Explanation{{Name: text, Title: text, What: text, Said: text, Formula: text, Source: text, Needs: text, Unit: text,
			Inputs: []station.Input{{Name: text, Text: text, Unit: text, Source: text, Origin: station.Assumed}}}}, nil
	}
	o.Pipeline = func() board.Pipeline { return board.Pipeline{Refused: map[string]int64{text: 1}} }
	o.Refusals = someRefused{sums: []board.RefusedSum{{Reason: text, Messages: 1}},
		list: []board.Refused{{Topic: text, Reason: text, Detail: text, Payload: text, Size: 1}}}
	o.Command = (&taken{outcome: rules.Outcome{Result: rules.Refused, Reason: text}}).take
	o.Diary = &diary{
		acts:  []history.Act{{At: at(-time.Hour), Who: text, What: text, Target: text, Detail: text, Document: text, Outcome: rules.Outcome{Result: rules.Refused, Reason: text}}},
		notes: []history.Note{{Key: k, At: at(-time.Hour), Who: text, Text: text}},
	}
	one := change(text, rules.Medium, rules.Normal, rules.Unacknowledged, -3*time.Hour, -3*time.Hour, text)
	one.Key, one.By = k, text
	o.Alarms = &alarmed{list: []rules.Transition{one}, open: []rules.Transition{one}}
	var err error
	if o.Trail, err = trail.Open(filepath.Join(t.TempDir(), "audit.jsonl"), noon); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { o.Trail.Close() })
	if err := o.Trail.Append(trail.Entry{At: noon, Who: text, By: text, From: text, What: text, Target: text, Detail: text, Outcome: text}); err != nil {
		t.Fatal(err)
	}
	return o
}

// attacks are the hostile ones. Of the empty one pages leave elements out, and an empty part of an address is none.
func attacks() map[string]string {
	out := maps.Clone(hostile.Texts)
	delete(out, "empty")
	return out
}

// TestHostileTexts parses every page as a browser does and compares its structure with that of the page with a
// harmless text.
func TestHostileTexts(t *testing.T) {
	harmless := named(t, "harmless")
	want := map[string]string{}
	for _, rt := range (&site{Options: harmless}).routes() {
		if slices.Contains(notPages, rt.pattern) || strings.HasPrefix(rt.pattern, api.Root) {
			continue
		}
		w := get(New(harmless), addressOf(rt.pattern, "harmless"))
		if w.Code != http.StatusOK || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			t.Fatalf("%s: status %d, type %q", rt.pattern, w.Code, w.Header().Get("Content-Type"))
		}
		want[rt.pattern] = structure(t, w.Body.String())
	}
	if len(want) < 12 {
		t.Errorf("only %d pages are tried", len(want))
	}
	for name, text := range attacks() {
		h := New(named(t, text))
		for pattern, like := range want {
			w := get(h, addressOf(pattern, text))
			if got := structure(t, w.Body.String()); w.Code != http.StatusOK || got != like {
				t.Errorf("%s with %q (%s): status %d, another structure: %s", pattern, text, name, w.Code, differ(got, like))
			}
		}
	}
}

// addressOf returns the address of a pattern, for a station whose site and name are a text.
func addressOf(pattern, text string) string {
	k := path(station.Key{Site: text, Station: text})
	return strings.NewReplacer("{$}", "", "{site}/{station}", k).Replace(pattern)
}

// differ returns the first lines in which two texts differ.
func differ(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			return "line " + g[i] + ", want " + w[i]
		}
	}
	return "one of them ends"
}

// JSON holds the text and nothing else of it, whether the program's own words or a person's.
func TestHostileTextsInJSON(t *testing.T) {
	for name, text := range attacks() {
		h, want := New(named(t, text)), strings.ToValidUTF8(text, "\ufffd")
		w := send(h, addressOf("/station/{site}/{station}/command", text), "application/json", `{"kind":"vented","who":"Ana","why":"gauge reads 0"}`, "Accept", "application/json")
		var a answerJSON
		if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil || one(a.Reason) != one(want) || a.Outcome != rules.Refused.String() || a.Error != "" {
			t.Errorf("%s: %+v, %v", name, a, err)
		}
		w = get(h, addressOf("/station/{site}/{station}/trace", text)+"?span=60")
		var trace struct{ Key, Note string }
		if err := json.Unmarshal(w.Body.Bytes(), &trace); err != nil || w.Header().Get("Content-Type") != "application/json" || trace.Key != path(station.Key{Site: text, Station: text}) {
			t.Errorf("%s: %+v, %v", name, trace, err)
		}
	}
}

// one returns a text with each run of what is no text as one mark: decoders differ in how many they make.
func one(text string) string {
	for strings.Contains(text, "\ufffd\ufffd") {
		text = strings.ReplaceAll(text, "\ufffd\ufffd", "\ufffd")
	}
	return text
}

// Tables for spreadsheets keep their columns, and no cell of them is a formula.
func TestHostileTextsInCSV(t *testing.T) {
	for _, address := range []string{csvPath, "/due?format=csv"} {
		harmless, err := csv.NewReader(get(New(named(t, "harmless")), address).Body).ReadAll()
		if err != nil || len(harmless) < 2 {
			t.Fatalf("%s: %v, %d rows", address, err, len(harmless))
		}
		for name, text := range attacks() {
			rows, err := csv.NewReader(get(New(named(t, text)), address).Body).ReadAll()
			if err != nil || len(rows) != len(harmless) {
				t.Errorf("%s, %s: %v, %d rows, want %d", address, name, err, len(rows), len(harmless))
			}
			for _, cell := range slices.Concat(rows...) {
				if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
					t.Errorf("%s, %s: the cell %q is a formula", address, name, cell)
				}
			}
		}
	}
}

// structure lists elements with the names of their attributes, without texts.
func structure(t *testing.T, page string) string {
	t.Helper()
	var out strings.Builder
	z := html.NewTokenizer(strings.NewReader(page))
	for z.Next() != html.ErrorToken {
		k := z.Token()
		switch k.Type {
		case html.StartTagToken, html.EndTagToken, html.SelfClosingTagToken:
			out.WriteString(k.Type.String() + k.Data)
			for _, a := range k.Attr {
				out.WriteString(" " + a.Key)
			}
			out.WriteByte('\n')
		}
	}
	return out.String()
}
