package web

import (
	"cmp"
	"context"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// nightView is the time from the end of a site's shift to the next one.
type nightView struct {
	Site, Date string
	End, Next  string // by the site's clock; Next is empty while it is to come
	Problem    string
	Rows       []nightRow
}

// nightRow is what became of one station.
type nightRow struct {
	Station, Link string
	Text          string
	Bad           bool // never came down, unknown, or charged again
}

const (
	mostNights  = 3
	mostStarted = 200 // stations whose past is read for the page
)

// nights gives the last times between shifts of each site that has shifts, the newest first.
func (s *site) nights(ctx context.Context, all []board.Station, now station.Instant) []nightView {
	if s.History == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	bySite := map[string][]*board.Station{}
	for i := range all {
		k := all[i].Plate.Key.Site
		bySite[k] = append(bySite[k], &all[i])
	}
	var out []nightView
	read := 0
	for name, stations := range bySite {
		cal, err := station.ReadCalendar(stations[0].Plate.Calendar)
		if err != nil {
			continue // no shifts
		}
		at := now
		for range mostNights {
			end, next := lastNight(cal, at)
			if end == 0 {
				break
			}
			v := nightView{Site: name, Date: cal.Date(end), End: cal.Clock(end)}
			if next <= now {
				v.Next = cal.Date(next) + " " + cal.Clock(next)
			}
			if read += len(stations); read > mostStarted*mostNights {
				v.Problem = "too many stations for one page"
			} else {
				v.Rows, err = s.night(ctx, stations, cal, end, min(next, now))
			}
			if err != nil {
				v.Problem = err.Error()
			}
			out = append(out, v)
			at = end.Add(-1)
		}
	}
	slices.SortStableFunc(out, func(a, b nightView) int { return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(b.Date, a.Date)) })
	return out
}

// lastNight gives the newest end of a shift up to t and the start of the next one.
func lastNight(c *station.Calendar, t station.Instant) (end, next station.Instant) {
	now := c.At(t)
	if !now.Working {
		return now.From, now.Until
	}
	back := t
	for range 48 { // hours that a run of shifts may last to be looked through
		back = back.Add(-60 * station.Minute60)
		if x := c.At(back); !x.Working {
			return x.From, x.Until
		}
	}
	return 0, 0
}

// night gives what the states in [from, to) say of the stations.
func (s *site) night(ctx context.Context, stations []*board.Station, cal *station.Calendar, from, to station.Instant) ([]nightRow, error) {
	var out []nightRow
	for _, b := range stations {
		k := b.Plate.Key
		list, err := s.History.Intervals(ctx, k, from, to)
		if err != nil {
			return out, err
		}
		if now := &b.Status; now.Since != 0 && now.Since < to && !b.Stale() { // the state that goes on is not stored yet
			list = append(list, station.Interval{State: now.State, From: now.Since, To: now.At})
		}
		r := nightRow{Station: k.String(), Link: path(k)}
		r.Text, r.Bad = cameDown(list, from, to, cal.Clock)
		if own, err := station.ReadCalendar(b.Plate.Calendar); err == nil && own.Hold && r.Bad {
			r.Text, r.Bad = "stays charged by intent (configuration); "+r.Text, false
		}
		if b.Plate.Sensor == station.AtBranch {
			r.Text, r.Bad = "unknown, treat as charged: the outlet sensor is behind the regulator", true
		}
		out = append(out, r)
	}
	return out, nil
}

// cameDown says when the outlet first read below the limit: the state is off then. What is
// blind or missing at the end is unknown.
func cameDown(list []station.Interval, from, to station.Instant, clock func(station.Instant) string) (text string, bad bool) {
	slices.SortStableFunc(list, func(a, b station.Interval) int { return cmp.Compare(a.From, b.From) })
	down, last := station.Instant(0), station.Interval{State: station.Blind}
	was := false
	for _, i := range list {
		if i.To <= from || i.From >= to {
			continue
		}
		if last = i; i.State == station.Off && !was {
			down, was = max(i.From, from), true
		} else if i.State != station.Off && i.State != station.Blind {
			if was {
				down = 0
			}
			was = false
		}
	}
	const slack = 2 * station.Minute60 // what is pending lies behind our clock
	switch {
	case last.State == station.Blind || last.To.Add(slack) < to:
		if down != 0 {
			return "read below the limit at " + clock(down) + ", not verified; unknown since, treat as charged", true
		}
		return "unknown: treat as charged", true
	case last.State == station.Off:
		return "outlet reading below the limit at " + clock(down) + ", not verified", false
	case last.State.Fed():
		return "never came down: the supply stayed open or was opened again (" + last.State.String() + ")", true
	}
	return "never came down, or was charged again", true
}
