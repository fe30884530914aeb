package web

import (
	"cmp"
	"context"
	"encoding/csv"
	"net/http"
	"slices"
	"strconv"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/dashboards/trail"
	"strokewise/rules"
)

// dueView is the page of what comes due.
type dueView struct {
	Root, Version string
	At, Problem   string
	Overdue       int
	Forms         bool
	Rows          []dueRow
	Undated       []dueRow
}

// dueRow is something that comes due at one station. Dates are as in the plate data, year first.
type dueRow struct {
	Forms                 bool // a service can be recorded on a page
	Station, Link         string
	Kind, Date, What      string
	When, Cycles          string
	Overdue               bool
	Installed, Overhauled string
	Serial                string
	Done, Document        string // the last time that is known
}

// dueList puts what is due in order: overdue first, then by date, then by the share of cycles
// that is left. inspected are the newest records of inspections; today gives a site's date.
func dueList(all []board.Station, inspected map[string]history.Act, today func(site string) string, now station.Instant) (rows, undated []dueRow) {
	for i := range all {
		s := &all[i]
		tank := false
		for _, d := range s.DuesAt(now) {
			r := dueOf(s, &d, today(s.Plate.Key.Site))
			if tank = tank || d.What == station.TankInspection; d.What == station.TankInspection && d.Document == "" {
				r.inspected(s, inspected)
			}
			if r.Date == "" && r.Cycles == "" {
				undated = append(undated, r)
				continue
			}
			rows = append(rows, r)
		}
		if !tank {
			r := dueOf(s, &rules.Due{What: station.TankInspection}, "")
			r.inspected(s, inspected)
			undated = append(undated, r)
		}
	}
	slices.SortStableFunc(rows, func(a, b dueRow) int {
		return cmp.Or(-compareBool(a.Overdue, b.Overdue), compareBool(a.Date == "", b.Date == ""), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Station, b.Station))
	})
	return rows, undated
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// inspected notes the newest record of an inspection that only the audit has.
func (r *dueRow) inspected(s *board.Station, last map[string]history.Act) {
	if a, ok := last[history.Target(s.Plate.Key, "")]; ok && notDone(a.Outcome) == "" {
		r.Done, r.Document = clock(a.At)+", by "+a.Who, a.Document
	}
}

// dueOf puts what comes due in words.
func dueOf(s *board.Station, d *rules.Due, today string) dueRow {
	p := &s.Plate
	r := dueRow{Station: p.Key.String(), Link: path(p.Key), Kind: d.What.String(), Date: d.Date, Installed: p.Installed, Overhauled: p.Overhauled, Serial: p.Serial, Done: d.Last, Document: d.Document}
	r.What = d.What.Words()
	if d.By != "" {
		r.Done += ", by " + d.By
	}
	if d.Date != "" {
		r.When, r.Overdue = days(today, d.Date), d.Date < today
	}
	if d.Interval == 0 {
		return r
	}
	switch {
	case d.CyclesLeft < 0:
		r.Overdue, r.Cycles = true, "overdue by "+strconv.FormatInt(-d.CyclesLeft, 10)
	case d.Lost > 0:
		r.Cycles = "at most " + strconv.FormatInt(d.CyclesLeft, 10) + " left"
	default:
		r.Cycles = strconv.FormatInt(d.CyclesLeft, 10) + " left"
	}
	r.Cycles += " of " + strconv.FormatInt(d.Interval, 10)
	if d.Lost > 0 {
		r.Cycles += "; in " + plural(int(d.Lost), "minute") + " they were not known"
	}
	return r
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

// due shows what comes due at all stations.
func (s *site) due(w http.ResponseWriter, r *http.Request) {
	now := station.InstantOf(s.Now())
	v := dueView{Version: s.Version, At: clock(now), Forms: s.Command != nil && mayDo(readerOf(r), "done")}
	last, err := s.latest(r.Context(), "inspected")
	if err != nil {
		v.Problem = err.Error()
	}
	v.Rows, v.Undated = dueList(s.Board.Configured(), last, s.date, now)
	for i := range v.Undated {
		v.Undated[i].Forms = v.Forms
	}
	for i := range v.Rows {
		v.Rows[i].Forms = v.Forms
		if v.Rows[i].Overdue {
			v.Overdue++
		}
	}
	if r.URL.Query().Get("format") == "csv" {
		dueCSV(w, &v)
		return
	}
	s.render(w, "due.html", v)
}

// dueCSV writes the list for spreadsheets. A cell that begins like a formula is a text.
func dueCSV(w http.ResponseWriter, v *dueView) {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="due.csv"`)
	w.Header().Set("Cache-Control", "no-store")
	out := csv.NewWriter(w)
	_ = out.Write([]string{"station", "what", "due", "in", "cycles", "overdue", "last done", "document", "note"})
	const note = "Local law governs."
	for _, r := range append(slices.Clone(v.Rows), v.Undated...) {
		row := []string{r.Station, r.Kind, r.Date, r.When, r.Cycles, strconv.FormatBool(r.Overdue), r.Done, r.Document, note}
		for i, c := range row {
			row[i] = trail.Cell(c)
		}
		_ = out.Write(row) // a reader that went away is no fault of ours
	}
	out.Flush()
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
