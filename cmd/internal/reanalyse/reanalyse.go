// Package reanalyse runs what the sample log still holds through the present engine, and
// tells what of the closed minutes it would have concluded otherwise. On request it puts
// that in their place: nothing else changes closed minutes. A back-test asks the same of
// the alarms, also with another catalogue, and changes nothing.
package reanalyse

import (
	"context"

	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
)

// WarmUp is how much of a station's samples an engine sees before its minutes are compared,
// ns: what it has learned by then it had learned long before in the live run.
const WarmUp = 30 * station.Minute60

// Station is a station to reanalyse.
type Station struct {
	Plate    station.Plate
	Revision string
}

// Log is what is needed of the sample log.
type Log interface {
	Read(ctx context.Context, partition int, from uint64, fn func(samplelog.Entry) error) error
	Last(ctx context.Context, partition int) (ofPartition, ofLog uint64, err error)
}

// Result is what came out for a station.
type Result struct {
	Key      station.Key
	Compared int // minutes
	Changed  []history.Changed
	Figures  []history.ClosedHour // hours whose figures come out otherwise
}

// Run reads the log's partition of each station and compares the minutes that begin in
// [from, to); a zero instant is open.
func Run(ctx context.Context, log Log, store *history.Store, stations []Station, from, to station.Instant) ([]Result, error) {
	found := make(map[station.Key]Result)
	for n, some := range split(stations) {
		if len(some) == 0 {
			continue
		}
		units, err := read(ctx, log, n, some)
		if err != nil {
			return nil, err
		}
		for k, u := range units {
			kept := u.within(from, to)
			c, err := store.Compare(ctx, k, kept)
			if err != nil {
				return nil, err
			}
			figures, err := store.CompareFigures(ctx, k, u.hours(from, to))
			if err != nil {
				return nil, err
			}
			found[k] = Result{k, len(kept), c, figures}
		}
	}
	out := make([]Result, len(stations))
	for i, s := range stations {
		out[i] = found[s.Plate.Key]
		out[i].Key = s.Plate.Key
	}
	return out, nil
}

// unit is one station's run.
type unit struct {
	*pipeline.Unit
	first   station.Instant
	minutes []station.Minute
	figures []station.HourFigure
}

// within gives the minutes that are compared.
func (u *unit) within(from, to station.Instant) []station.Minute {
	var out []station.Minute
	for _, m := range u.minutes {
		if m.Start >= max(from, u.first.Add(WarmUp)) && (to == 0 || m.Start < to) {
			out = append(out, m)
		}
	}
	return out
}

// hours gives the hours that were seen whole, warm-up left out, with their figures. The last
// one of a segment may be open.
func (u *unit) hours(from, to station.Instant) []history.ClosedHour {
	const hour = 60 * station.Minute60
	begin := max(from, u.first.Add(WarmUp))
	var out []history.ClosedHour
	for i := range u.minutes {
		m := &u.minutes[i]
		start := m.Start.Floor(hour)
		n := len(out)
		if n > 0 && (out[n-1].Start != start || out[n-1].Segment != m.Segment) || n == 0 {
			out = append(out, history.ClosedHour{Start: start, Segment: m.Segment})
		}
	}
	kept := out[:0]
	for i := range out {
		h := out[i]
		if h.Start >= begin && (to == 0 || h.Start.Add(hour) <= to) && i+1 < len(out) {
			kept = append(kept, h)
		}
	}
	for i := range kept {
		for _, f := range u.figures {
			if f.Hour == kept[i].Start && f.Segment == kept[i].Segment {
				kept[i].Figures = append(kept[i].Figures, f)
			}
		}
	}
	return kept
}

// read runs a partition's stations up to the log's present end. The open minutes at the
// end are left out.
func read(ctx context.Context, log Log, n int, stations []Station) (map[station.Key]*unit, error) {
	units := make(map[station.Key]*unit, len(stations))
	for _, s := range stations {
		units[s.Plate.Key] = &unit{Unit: pipeline.New(s.Plate, s.Revision)}
	}
	last, _, err := log.Last(ctx, n)
	if err != nil {
		return nil, err
	}
	return units, walk(ctx, log, n, last, func(r *station.Record) error {
		u := units[r.Key]
		if u == nil {
			return nil
		}
		return try(r.Key, func() { u.record(r) })
	})
}

// try returns an error that names the station where f panics.
func try(k station.Key, f func()) error {
	if fault := pipeline.Try(k, "what the log holds of it", f); fault != nil {
		return fault
	}
	return nil
}

func (u *unit) record(r *station.Record) {
	switch {
	case r.Epoch != nil:
		u.Epoch(r.Epoch, r.Arrival)
	case len(r.Blocks) > 0:
		if u.first == 0 {
			u.first = r.Blocks[0].At(0)
		}
		u.Samples(r.Blocks, r.Arrival)
		u.minutes = append(u.minutes, u.Out.Minutes...)
		u.figures = append(u.figures, u.Out.Figures...)
		u.Discard()
	}
}

// Revision is what replaced minutes carry.
const Revision = engine.Revision
