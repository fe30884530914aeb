package main

import (
	"encoding/json"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// Eight weeks of minutes in a history that is in use: the duty rises by 2.1 points a week, steps
// up by ten on day 30 and is 20 points lower at weekends; the command tells it, as a table and
// as JSON.
func TestTrends(t *testing.T) {
	data := t.TempDir()
	cfg := configOf(t, "127.0.0.1:1", data, "")
	if code, _, errOut := call("trends", "--config", cfg); code != exitFault || !strings.Contains(errOut, "cannot read history database") {
		t.Errorf("without a history: %d, %s", code, errOut)
	}
	s, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	const monday = station.Instant(1767571200 * station.Second) // 2026-01-05
	r := rand.New(rand.NewPCG(4, 5))
	p := history.StationMinutes{Key: station.Key{Site: "northdock", Station: "press-4"}}
	for d := range 56 {
		duty := 0.4 + 0.003*float64(d) + 0.02*r.NormFloat64()
		if d%7 >= 5 {
			duty -= 0.2
		}
		if d >= 30 {
			duty += 0.1
		}
		for i := range 1440 {
			m := station.Minute{Start: monday.Add(int64(d*1440+i) * station.Minute60), Covered: 60e9, StrokeMethod: station.MethodBoth}
			share := min(max(duty+0.1*r.NormFloat64(), 0), 1)
			m.StateNs[station.Stroking] = int64(60e9 * share)
			m.StateNs[station.Holding] = 60e9 - m.StateNs[station.Stroking]
			p.Minutes = append(p.Minutes, m)
		}
	}
	if err := s.Import(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	args := []string{"trends", "--config", cfg, "--station", "press-4", "--weeks", "8", "--to", "2026-03-02T00:00:00Z"}
	code, out, errOut := call(args...)
	if code != exitOK || !strings.Contains(out, "northdock/press-4, days from 2026-01-05 to 2026-03-01") ||
		!strings.Contains(out, "rises (p under 0.001); a step of +") || !strings.Contains(out, "passes 90.0 % about 2026-0") {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
	var got struct {
		Stations []struct {
			Series []struct {
				Figure string     `json:"figure"`
				Days   int        `json:"days"`
				Week   float64    `json:"slope_a_week"`
				Band   [2]float64 `json:"slope_band"`
				Passes string     `json:"passes"`
			} `json:"series"`
		} `json:"stations"`
	}
	code, out, errOut = call(append(args, "--json")...)
	if err := json.Unmarshal([]byte(out), &got); code != exitOK || err != nil {
		t.Fatalf("%d, %v\n%s%s", code, err, out, errOut)
	}
	d := got.Stations[0].Series[0]
	t.Logf("duty: %.4f a week (%.4f to %.4f), passes 90 %% on %s", d.Week, d.Band[0], d.Band[1], d.Passes)
	if d.Figure != "duty" || d.Days != 56 || d.Band[0] > 0.021 || d.Band[1] < 0.021 || d.Band[1]-d.Band[0] > 0.02 || d.Passes == "" {
		t.Errorf("%+v", d)
	}
	if code, _, errOut := call("trends", "--config", cfg, "--weeks", "2"); code != exitFault || !strings.Contains(errOut, "from 3 to 260") {
		t.Errorf("%d, %s", code, errOut)
	}
}
