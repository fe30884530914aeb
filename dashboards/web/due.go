package web

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
)

// dueView is the page of dates.
type dueView struct {
	Root, Version string
	At, Problem   string
	Overdue       int
	Rows          []dueRow
	Undated       []dueRow
}

// dueRow is what is due at one station. Dates are as in the plate data, year first.
type dueRow struct {
	Station, Link         string
	Date, What, When      string
	Overdue               bool
	Installed, Overhauled string
	Serial                string
	Done, Document        string // the last inspection that was recorded here
}

// inspections puts what is due in order of its date; today gives a site's date.
func inspections(all []board.Station, last map[string]history.Act, today func(site string) string) (rows, undated []dueRow) {
	for i := range all {
		p := &all[i].Plate
		r := dueRow{Station: p.Key.String(), Link: path(p.Key), Date: p.Inspection, What: "inspection of the tank",
			Installed: p.Installed, Overhauled: p.Overhauled, Serial: p.Serial}
		if a, ok := last[history.Target(p.Key, "")]; ok {
			r.Done, r.Document = clock(a.At)+", by "+a.Who, a.Detail
		}
		if p.Inspection == "" {
			undated = append(undated, r)
			continue
		}
		r.Overdue, r.When = p.Inspection < today(p.Key.Site), days(today(p.Key.Site), p.Inspection)
		rows = append(rows, r)
	}
	slices.SortStableFunc(rows, func(a, b dueRow) int { return cmp.Or(cmp.Compare(a.Date, b.Date), cmp.Compare(a.Station, b.Station)) })
	return rows, undated
}

// days says how far a date is from today; both are written as 2026-03-01.
func days(today, date string) string {
	a, err1 := time.Parse(time.DateOnly, today)
	b, err2 := time.Parse(time.DateOnly, date)
	if err1 != nil || err2 != nil {
		return ""
	}
	switch n := int(b.Sub(a).Hours() / 24); {
	case n < 0:
		return "overdue by " + plural(-n, "day")
	case n == 0:
		return "today"
	default:
		return "in " + plural(n, "day")
	}
}

// today gives the date at a site.
func (s *site) date(name string) string {
	zone := s.Zones[name]
	if zone == nil {
		zone = time.UTC
	}
	return s.Now().In(zone).Format(time.DateOnly)
}

// due shows the dates of all stations.
func (s *site) due(w http.ResponseWriter, r *http.Request) {
	v := dueView{Version: s.Version, At: clock(station.InstantOf(s.Now()))}
	last, err := s.latest(r.Context(), "inspected")
	if err != nil {
		v.Problem = err.Error()
	}
	v.Rows, v.Undated = inspections(s.Board.All(), last, s.date)
	for i := range v.Rows {
		if v.Rows[i].Overdue {
			v.Overdue++
		}
	}
	render(w, "due.html", v)
}

// latest gives the newest act of a kind for each target.
func (s *site) latest(ctx context.Context, what string) (map[string]history.Act, error) {
	if s.Diary == nil {
		return nil, nil
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	return s.Diary.LatestActs(ctx, what)
}
