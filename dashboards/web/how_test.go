package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// explaining gives a fixture with explanations of a leak that is known and a sag that is not.
func explaining() Options {
	o := everything()
	o.Explain = func(context.Context, station.Key) ([]station.Explanation, error) {
		leak, sag := station.Figures[station.LeakFlow], station.Figures[station.SupplySag]
		return []station.Explanation{
			{Name: "state", Title: "State", What: "what the station is doing", Said: "holding", Formula: "the first that holds", Source: "definition",
				Inputs: []station.Input{{Name: "rule", Text: "the piston <stands>", Origin: station.Computed}}},
			{Name: "strokes", Title: "Strokes", What: "ends of strokes", Formula: "counted", Source: "definition"},
			{Name: "leak_flow", Title: leak.Title, What: leak.What, Formula: "V rate p/p_0", Source: "gas law", Unit: leak.Shown, Factor: leak.Factor, Places: 1, Air: true,
				Estimate: station.Estimate{Value: 0.3e-3, Low: 0.28e-3, High: 0.33e-3, Method: station.MethodDecay, Confidence: 0.9, From: at(-600e9), At: at(0)},
				Inputs: []station.Input{station.Value("tank volume with piping", 30, "L", station.FromPlate),
					{Name: "detection limit", Value: 0.1, Unit: "%/min", Origin: station.Assumed, Source: "common practice, no source"}}},
			{Name: "supply_sag", Title: sag.Title, What: sag.What, Formula: "(static - dynamic)/static", Source: "definition", Unit: sag.Shown, Factor: sag.Factor,
				Estimate: station.Unknown("the piston has not worked yet"), Needs: "two seconds of strokes"},
		}, nil
	}
	return o
}

// The page says how each figure is obtained, or why it is not known and what would help.
func TestHow(t *testing.T) {
	h := New(explaining())
	w := get(h, "/station/northdock/press-4/how")
	for _, want := range []string{"holding", "the piston &lt;stands&gt;", "18.0 L/min ANR", "90 %: 16.8 to 19.8", "from the outlet&#39;s fall while the piston stood", "2026-03-02 11:50:00 UTC",
		"V rate p/p_0", "gas law", "30 L", "assumed: common practice, no source", "unknown: the piston has not worked yet", "two seconds of strokes", "no closed minute yet"} {
		if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%d: no %q in\n%s", w.Code, want, w.Body)
		}
	}
	if w := get(h, "/station/northdock/nothing/how"); w.Code != http.StatusNotFound {
		t.Errorf("a station that does not exist: %d", w.Code)
	}
	if !strings.Contains(get(h, "/station/northdock/press-4").Body.String(), `href="../../station/northdock/press-4/how"`) {
		t.Error("the station's page does not lead there")
	}
	o := explaining()
	o.Explain = func(context.Context, station.Key) ([]station.Explanation, error) {
		return nil, errors.New("the partition is busy")
	}
	if w := get(New(o), "/station/northdock/press-4/how"); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "the partition is busy") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// Figures and what they were obtained from are in the unit of the site: 1 bar is 100 kPa.
func TestHowInTheUnitOfTheSite(t *testing.T) {
	one := press()
	one.Plate.Reading = station.ReadBar
	o := fixture(one)
	k := station.Figures[station.HeaderStatic]
	o.Explain = func(context.Context, station.Key) ([]station.Explanation, error) {
		return []station.Explanation{{Name: k.Name, Title: k.Title, Unit: k.Shown, Factor: k.Factor, Estimate: station.Estimate{Value: 623.4e3, Method: station.MethodTraces},
			Inputs: []station.Input{station.Value("inlet at rest", 612.3, "kPa gauge", station.Measured)}}}, nil
	}
	page := get(New(o), "/station/northdock/press-4/how").Body.String()
	for _, want := range []string{"6.23 bar gauge", "6.123 bar gauge"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in\n%s", want, page)
		}
	}
}
