package export

import (
	"context"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// History is what is exported of.
type History interface {
	Priced(ctx context.Context, k station.Key, from, to station.Instant) ([]history.ExportRow, error)
	PricedHours(ctx context.Context, k station.Key, from, to station.Instant) ([]history.ExportRow, error)
}

// Query is what is exported: what starts in [From, To).
type Query struct {
	Stations []Station
	From, To station.Instant
	Hourly   bool
}

// piece is how much of a station is read at once: a day of minutes, or a month of hours.
func (q *Query) piece() int64 {
	const day = 24 * 60 * station.Minute60
	if q.Hourly {
		return 30 * day
	}
	return day
}

// Pieces returns in how many pieces the export is read.
func (q *Query) Pieces() int64 {
	span := q.To.Sub(q.From)
	if span <= 0 {
		return 0
	}
	return (span + q.piece() - 1) / q.piece() * int64(len(q.Stations))
}

// Each reads station by station, in order of time, and calls fn with what each piece holds, which may be nothing.
func (q *Query) Each(ctx context.Context, h History, fn func(s *Station, rows []history.ExportRow) error) error {
	read := h.Priced
	if q.Hourly {
		read = h.PricedHours
	}
	for i := range q.Stations {
		s := &q.Stations[i]
		for at := q.From; at < q.To; at = at.Add(q.piece()) {
			if err := ctx.Err(); err != nil {
				return err
			}
			rows, err := read(ctx, s.Key, at, min(at.Add(q.piece()), q.To))
			if err != nil {
				return err
			}
			if err := fn(s, rows); err != nil {
				return err
			}
		}
	}
	return nil
}
