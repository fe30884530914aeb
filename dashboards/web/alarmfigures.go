package web

import (
	"context"
	"fmt"
	"net/http"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/rules"
	"strokewise/rules/performance"
)

// Alarms is what became of alarms.
type Alarms interface {
	Transitions(ctx context.Context, k station.Key, from, to station.Instant) ([]rules.Transition, error)
	OpenAlarms(ctx context.Context) ([]rules.Transition, error)
}

// mostFigureDays bounds how far the page of alarm figures looks back.
const mostFigureDays = 366

// alarmFiguresView is the page that tells how the alarms treat people.
type alarmFiguresView struct {
	Root, Version string
	At, Problem   string
	Days          int
	Backtest      bool // there is one
	Choices       []int
	Rows          []row
	Top           []countRow
	Chattering    []countRow
	Stale         []countRow
	Judged        []judgedRow
}

type countRow struct{ Alarm, Station, Link, Times, Since string }

type judgedRow struct{ Alarm, Closed, Empty, Precision string }

// alarmFigures shows the figures of the last days; ?days= says how many.
func (s *site) alarmFigures(w http.ResponseWriter, r *http.Request) {
	now := station.InstantOf(s.Now())
	v := alarmFiguresView{Version: s.Version, At: clock(now), Backtest: s.Backtest != nil, Days: 7, Choices: []int{1, 7, 30, 365}}
	if text := r.URL.Query().Get("days"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > mostFigureDays {
			http.Error(w, fmt.Sprintf("days is %.20q: expected a whole number from 1 to %d, such as 7", text, mostFigureDays), http.StatusBadRequest)
			return
		}
		v.Days = n
	}
	status := http.StatusOK
	if err := s.measure(r.Context(), &v, now); err != nil {
		status, v.Problem = http.StatusServiceUnavailable, err.Error()
	}
	s.renderAs(w, status, "alarmfigures.html", v)
}

func (s *site) measure(ctx context.Context, v *alarmFiguresView, now station.Instant) error {
	if s.Alarms == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	leave, err := s.queue(ctx)
	if err != nil {
		return err
	}
	defer leave()
	from := now.Add(-int64(v.Days) * 24 * 60 * station.Minute60)
	list, err := s.Alarms.Transitions(ctx, station.Key{}, from, now)
	if err != nil {
		return err
	}
	open, err := s.Alarms.OpenAlarms(ctx)
	if err != nil {
		return err
	}
	rep := performance.Measure(list, open, from, now)
	v.Rows, v.Top, v.Chattering, v.Stale = figureRows(&rep), countRows(rep.Top), countRows(rep.Chattering), countRows(rep.Stale)
	for i := range rep.Judged {
		j := &rep.Judged[i]
		v.Judged = append(v.Judged, judgedRow{j.Alarm, strconv.Itoa(j.Closed), strconv.Itoa(j.Empty), number(100*j.Precision(), 0) + " %"})
	}
	return nil
}

// figureRows puts a report in words, each figure beside what the standards' summaries ask.
func figureRows(r *performance.Report) []row {
	rows := []row{
		{Name: "Alarms", Value: strconv.Itoa(r.Alarms), How: plural(r.Findings, "finding") + " beside them, which are not sent as alarms"},
		{Name: "Alarms per day", Value: number(r.PerDay(), 1), How: "about 150 a day are manageable for one person, 300 are too many"},
		{Name: "Alarms in ten minutes, on average", Value: number(r.PerWindow(), 2), How: "1 is acceptable for one person"},
		{Name: "Alarms in ten minutes, at most", Value: strconv.Itoa(r.Most), How: "more than 10 are a flood"},
		{Name: "Floods", Value: strconv.Itoa(r.Floods), How: "of " + strconv.Itoa(r.Windows) + " stretches of ten minutes"},
		share(r), acknowledged(r),
		{Name: "Not acknowledged", Value: strconv.Itoa(r.Unanswered), How: "of those raised in this time"},
	}
	if r.Most > 0 {
		rows[3].How = "from " + clock(r.MostAt.Floor(station.Second)) + "; " + rows[3].How
	}
	return rows
}

func share(r *performance.Report) row {
	const name, asked = "Shares of low, medium, high", "about 80, 15 and 5 %, so that high means something"
	if r.Alarms == 0 {
		return row{Name: name, Why: "no alarm was raised"}
	}
	part := func(p rules.Priority) string { return number(100*float64(r.ByPriority[p])/float64(r.Alarms), 0) }
	return row{Name: name, Value: part(rules.Low) + ", " + part(rules.Medium) + ", " + part(rules.High), Unit: "%", How: asked}
}

func acknowledged(r *performance.Report) row {
	const name = "Time until acknowledged"
	median, ok := r.MedianAckNs()
	if !ok {
		return row{Name: name, Why: "nobody acknowledged an alarm"}
	}
	return row{Name: name, Value: span(median), How: "median of " + strconv.Itoa(len(r.AckNs)) + ", " + span(r.AckNs[len(r.AckNs)-1]) + " at most"}
}

func countRows(list []performance.Count) []countRow {
	out := make([]countRow, len(list))
	for i, c := range list {
		out[i] = countRow{Alarm: c.Alarm, Station: c.Key.String(), Link: path(c.Key), Times: plural(c.N, "time")}
		if c.Since != 0 {
			out[i].Since = clock(c.Since.Floor(station.Second))
		}
	}
	return out
}
