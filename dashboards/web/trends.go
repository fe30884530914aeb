package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/trend"
)

// trendWeeks are the spans of the page of trends.
var trendWeeks = []int{8, 12, 26, 52}

const usualWeeks = 12

// trendsRoot leads from a page of trends to the first page.
const trendsRoot = "../../../"

// trendsView is the page of one station's trends.
type trendsView struct {
	Root, Version string
	Name, Key     string
	From, To      string
	Work          string // maintenance with which the days begin
	Problem       string
	Weeks         int
	Choices       []int
	Level         string
	Rows          []trendRow
}

// trendRow is one figure.
type trendRow struct {
	Name, What    string
	Days          string
	Now, NowBand  string // level of a typical day at the end
	Week, Band    string // slope
	Unit, Verdict string
	Passing       string
	Told          bool
	Line          *trendLine
}

// trendLine is a small line of days: points of polylines, one for each stretch without a gap
// or change, and what it shows in words.
type trendLine struct {
	Lines []string
	Text  string
}

// trends shows how one station's figures run; ?weeks= says over how long.
func (s *site) trends(w http.ResponseWriter, r *http.Request) {
	k := keyIn(r)
	one, ok := s.known(w, k)
	if !ok {
		return
	}
	weeks := usualWeeks
	if text := r.URL.Query().Get("weeks"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || !slices.Contains(trendWeeks, n) {
			plain(w, http.StatusBadRequest, fmt.Sprintf("weeks is %.20q: expected one of 8, 12, 26, 52", text))
			return
		}
		weeks = n
	}
	status := http.StatusOK
	rep, err := s.tellTrends(r.Context(), &one, weeks)
	v := trendsOf(rep)
	if err != nil {
		status, v.Problem = http.StatusServiceUnavailable, err.Error()
	}
	v.Version, v.Name, v.Key, v.Weeks = s.Version, k.Station, path(k), weeks
	s.renderAs(w, status, "trends.html", v)
}

// tellTrends reads a station's weeks, a few readers at a time.
func (s *site) tellTrends(ctx context.Context, one *board.Station, weeks int) (*trend.Report, error) {
	if s.Trends == nil {
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	leave, err := s.queue(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	now := s.Now()
	return trend.Tell(ctx, s.Trends, trend.Query{Plate: &one.Plate, Zone: s.Zones[one.Plate.Key.Site],
		From: station.InstantOf(now.Add(-time.Duration(weeks) * 7 * 24 * time.Hour)), To: station.InstantOf(now)})
}

// queue waits for a place among the readers of the history; leave gives it back.
func (s *site) queue(ctx context.Context) (leave func(), err error) {
	select {
	case s.queries <- struct{}{}:
		return func() { <-s.queries }, nil
	case <-ctx.Done():
		return nil, errBusy
	}
}

// trendsOf puts a report in words; nil: there is no history.
func trendsOf(r *trend.Report) trendsView {
	v := trendsView{Root: trendsRoot, Choices: trendWeeks, Level: number(trend.Level*100, 0) + " %"}
	if r == nil {
		return v
	}
	v.From, v.To, v.Work = trend.Date(r.From), trend.Date(r.To), r.Work
	for i := range r.Series {
		v.Rows = append(v.Rows, trendRowOf(&r.Series[i], r.From, r.To))
	}
	return v
}

func trendRowOf(s *trend.Series, from, to int64) trendRow {
	row := trendRow{Name: s.Title, What: s.What, Unit: s.Shown, Days: plural(len(s.Days), "day"), Verdict: s.Verdict(), Told: s.Told, Line: lineOf(s, from, to)}
	if s.Why != "" {
		return row
	}
	row.Now, row.NowBand = s.In(s.Value), s.In(s.Value-s.Half)+" to "+s.In(s.Value+s.Half)
	row.Week, row.Band = s.SlopeInWords()
	row.Passing = s.PassingInWords()
	return row
}

// trendGap is how many days without a value break a line.
const trendGap = 3

// lineOf draws the days between from and to; nil where there are none.
func lineOf(s *trend.Series, from, to int64) *trendLine {
	if len(s.Days) == 0 {
		return nil
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, d := range s.Days {
		low, high = min(low, d.Value), max(high, d.Value)
	}
	l := &trendLine{Text: between(s, low, high) + ", " + trend.Date(s.Days[0].Number) + " to " + trend.Date(s.Days[len(s.Days)-1].Number)}
	if high == low {
		low, high = low-1, high+1
	}
	var points []string
	for i, d := range s.Days {
		if i > 0 && (d.Number-s.Days[i-1].Number > trendGap || changed(s.Changes, d.Number)) {
			l.Lines, points = append(l.Lines, strings.Join(points, " ")), nil
		}
		x := sparkWidth * float64(d.Number-from) / math.Max(1, float64(to-from))
		y := 1 + (sparkHeight-2)*(1-(d.Value-low)/(high-low))
		points = append(points, strconv.Itoa(int(math.Round(x)))+","+strconv.Itoa(int(math.Round(y))))
	}
	l.Lines = append(l.Lines, strings.Join(points, " "))
	return l
}

// between puts the lowest and highest day in words.
func between(s *trend.Series, low, high float64) string {
	text := s.In(low)
	if s.In(high) != text {
		text += " to " + s.In(high)
	}
	return strings.TrimSpace(text + " " + s.Shown)
}

func changed(list []trend.Change, day int64) bool {
	return slices.ContainsFunc(list, func(c trend.Change) bool { return c.Day == day })
}
