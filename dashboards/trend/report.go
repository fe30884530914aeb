package trend

import (
	"context"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// History is what trends are told from.
type History interface {
	Hours(ctx context.Context, k station.Key, from, to station.Instant) ([]history.Hour, error)
	Figures(ctx context.Context, k station.Key, from, to station.Instant) ([]station.HourFigure, error)
	Notes(ctx context.Context, k station.Key, from, to station.Instant) ([]history.Note, error)
}

// Query says of what trends are told.
type Query struct {
	Plate    *station.Plate
	Zone     *time.Location // of the site; nil: UTC
	From, To station.Instant
}

// Report is what a station's figures tell over weeks.
type Report struct {
	Key      station.Key
	From, To int64  // first and last day that count
	Work     string // maintenance with which the days begin anew, "" where there was none
	Series   []Series
}

// Series is one figure by days.
type Series struct {
	Kind
	Days []Day
	Trend
	Passing *Passing // of the kind's limit
	NoDate  string   // why there is none
}

// Tell reads a station's hours and tells their trends. The day in which To lies is not over
// and left out. Days up to the last maintenance, and its own, are left out too.
func Tell(ctx context.Context, h History, q Query) (*Report, error) {
	if q.Zone == nil {
		q.Zone = time.UTC
	}
	hours, err := h.Hours(ctx, q.Plate.Key, q.From, q.To)
	if err != nil {
		return nil, err
	}
	kept, err := h.Figures(ctx, q.Plate.Key, q.From, q.To)
	if err != nil {
		return nil, err
	}
	notes, err := h.Notes(ctx, q.Plate.Key, q.From, q.To)
	if err != nil {
		return nil, err
	}
	return tell(q, hours, kept, notes), nil
}

// tell is Tell of what was read.
func tell(q Query, hours []history.Hour, kept []station.HourFigure, notes []history.Note) *Report {
	r := &Report{Key: q.Plate.Key, From: dayOf(q.From, q.Zone), To: dayOf(q.To, q.Zone) - 1}
	if q.From != dayStart(r.From, q.Zone) {
		r.From++ // it began before
	}
	if n, what := maintained(q.Plate, notes, q.Zone); n >= r.From {
		r.From, r.Work = n+1, what
	}
	numbers, days := daily(hours, q.Zone)
	for i, d := range ofSums(numbers, days) {
		r.add(sums[i].Kind, d)
	}
	for _, f := range slow {
		k := &station.Figures[f]
		unit, factor, places := q.Plate.Reading.Figure(k)
		if k.Air {
			unit += " ANR"
		}
		r.add(Kind{Name: k.Name, Title: k.Title, Unit: k.Unit, Shown: unit, Factor: factor, Places: places, What: k.What},
			ofFigure(f, kept, q.Zone, numbers, days))
	}
	return r
}

// add tells the trend of one series. A figure that was never known is left out.
func (r *Report) add(k Kind, days []Day) {
	s := Series{Kind: k}
	for _, d := range days {
		if d.Number >= r.From && d.Number <= r.To {
			s.Days = append(s.Days, d)
		}
	}
	if len(days) == 0 {
		return
	}
	s.Trend = Of(s.Days)
	if k.Limit != 0 {
		s.Passing, s.NoDate = s.Passes(k.Limit)
	}
	r.Series = append(r.Series, s)
}

// maintained returns the day of the last maintenance after which figures begin anew, by the
// plate data or a record of it.
func maintained(p *station.Plate, notes []history.Note, zone *time.Location) (day int64, what string) {
	day = -1
	if t, err := time.Parse(time.DateOnly, p.Overhauled); err == nil {
		day, what = t.Unix()/86400, "overhauled on "+p.Overhauled+" (plate data)"
	}
	for _, n := range notes {
		if !n.Service.Renews() || n.Outcome.Result == rules.Refused || n.Outcome.Result == rules.NoEffect {
			continue
		}
		d := dayOf(n.At, zone)
		if t, err := time.Parse(time.DateOnly, n.Date); err == nil {
			d = t.Unix() / 86400
		}
		if d >= day {
			day, what = d, "note of "+Date(d)+" by "+n.Who+": "+n.Text
		}
	}
	return day, what
}

func dayStart(n int64, zone *time.Location) station.Instant {
	y, m, d := time.Unix(n*86400, 0).UTC().Date()
	return station.InstantOf(time.Date(y, m, d, 0, 0, 0, 0, zone))
}
