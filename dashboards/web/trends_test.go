package web

import (
	"context"
	"errors"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// weeksOf is a history of hours that a test made up.
type weeksOf struct {
	hours []history.Hour
	kept  []station.HourFigure
	notes []history.Note
	from  station.Instant
	err   error
}

func (w *weeksOf) Hours(_ context.Context, _ station.Key, from, _ station.Instant) ([]history.Hour, error) {
	w.from = from
	return w.hours, w.err
}

func (w *weeksOf) Figures(context.Context, station.Key, station.Instant, station.Instant) ([]station.HourFigure, error) {
	return w.kept, w.err
}

func (w *weeksOf) Notes(context.Context, station.Key, station.Instant, station.Instant) ([]history.Note, error) {
	return w.notes, w.err
}

// trending has ten weeks in which the duty rises and steps up, beside a sag that does neither
// and an efficiency of few days.
func trending() Options {
	o := everything()
	r := rand.New(rand.NewPCG(1, 2))
	w := &weeksOf{}
	for d := -70; d < 0; d++ {
		duty := 0.5 + 0.003*float64(d+70) + 0.01*r.NormFloat64()
		if d >= -30 {
			duty += 0.1
		}
		sag := 0.2 + 0.01*r.NormFloat64()
		for h := range 24 {
			start := at(time.Duration(24*d+h)*time.Hour - 12*time.Hour)
			hour := history.Hour{Start: start, Minutes: 60, Covered: 3600e9, Strokes: int64(3600 * duty), Inlet: station.Microlitres(3600 * duty * 5e5)}
			hour.StateNs[station.Stroking] = int64(duty * 3600e9)
			hour.StateNs[station.Holding] = 3600e9 - hour.StateNs[station.Stroking]
			w.hours = append(w.hours, hour)
			w.kept = append(w.kept, station.HourFigure{Hour: start, Figure: station.SupplySag, Estimate: station.Estimate{Value: sag}})
		}
		if d > -5 {
			w.kept = append(w.kept, station.HourFigure{Hour: at(time.Duration(24*d) * time.Hour), Figure: station.VolumetricEfficiency, Estimate: station.Estimate{Value: 0.8}})
		}
	}
	o.Trends = w
	return o
}

func TestTrendsPage(t *testing.T) {
	o := trending()
	w := get(New(o), "/station/northdock/press-4/trends?weeks=26")
	body := w.Body.String()
	for _, want := range []string{
		"Duty<small>", "<strong>rises (p under 0.001); a step of &#43;", "passes 90.0 % about 2026-0", ", 90 %)",
		"no trend beyond chance", "unknown: needs 21 days with values, there are 4 days", `aria-current="true">26 weeks`,
	} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q", want)
		}
	}
	if from := o.Trends.(*weeksOf).from; w.Code != http.StatusOK || from != at(-26*7*24*time.Hour) {
		t.Errorf("status %d, asked from %s", w.Code, from)
	}
	o.Trends.(*weeksOf).notes = []history.Note{{At: at(-10 * 24 * time.Hour), Who: "jo", Text: "Seals changed <both>", Service: station.SealReplacement}}
	if body := get(New(o), "/station/northdock/press-4/trends").Body.String(); !strings.Contains(body, "by jo: Seals changed &lt;both&gt;") || strings.Contains(body, "passes") {
		t.Errorf("behind maintenance:\n%s", body)
	}
}

func TestTrendsThatCannotBeHad(t *testing.T) {
	o := everything()
	o.Trends = &weeksOf{err: errors.New("database is <locked>")}
	for path, want := range map[string]struct {
		status int
		says   string
	}{
		"/station/northdock/press-4/trends":         {503, "database is &lt;locked&gt;"},
		"/station/northdock/press-4/trends?weeks=7": {400, "one of 8, 12, 26, 52"},
		"/station/northdock/none/trends":            {404, "there is no station"},
	} {
		if w := get(New(o), path); w.Code != want.status || !strings.Contains(w.Body.String(), want.says) {
			t.Errorf("%s: status %d: %s", path, w.Code, w.Body)
		}
	}
	if w := get(New(everything()), "/station/northdock/press-4/trends"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "No whole hour") {
		t.Errorf("without a history: %d", w.Code)
	}
}

// Reading of trends and of alarm figures waits for a place among the readers.
func TestReadersOfTheHistoryAreBounded(t *testing.T) {
	o := everything()
	o.Alarms, o.Trends = &alarmed{}, &weeksOf{}
	s := &site{Options: o, queries: make(chan struct{}, 1)}
	s.queries <- struct{}{}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	one := press()
	if _, err := s.tellTrends(ctx, &one, 8); !errors.Is(err, errBusy) {
		t.Errorf("trends: %v", err)
	}
	if err := s.measure(ctx, &alarmFiguresView{Days: 7}, at(0)); !errors.Is(err, errBusy) {
		t.Errorf("alarm figures: %v", err)
	}
	<-s.queries
	if err := s.measure(t.Context(), &alarmFiguresView{Days: 7}, at(0)); err != nil || len(s.queries) != 0 {
		t.Errorf("with a place: %v, %d places taken", err, len(s.queries))
	}
}
