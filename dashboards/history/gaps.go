package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// gaps stores the gaps of a station, and adds the new ones to its sum. They are in no hour: an hour is the sum of its
// minutes. Of one that reaches into what a restored history has, the part behind it is left in s.
func (tx *transaction) gaps(id int64, s *StationMinutes, sum *board.Totals) error {
	for i := range s.Gaps {
		if err := tx.clipGap(id, &s.Gaps[i]); err != nil {
			return err
		}
		g := s.Gaps[i]
		if g.To <= g.From {
			s.Again.Gaps = append(s.Again.Gaps, i)
			continue
		}
		n, err := changed(tx.stmt.gap.ExecContext(tx.ctx, id, int64(g.From), int64(g.Segment), int64(s.Revision), int64(g.To)))
		if err != nil {
			return fmt.Errorf("gap %s: %w", g.From, err)
		}
		if n == 0 {
			s.Again.Gaps = append(s.Again.Gaps, i)
			continue
		}
		sum.AddGap(g)
	}
	return nil
}

// clipGap cuts from a gap what a restored history has minutes of: an engine that is older than the history, beside a log that
// no longer holds their samples, finds a gap there.
func (tx *transaction) clipGap(id int64, g *station.Gap) error {
	if b, ok := tx.store.resumed[id]; !ok || tx.past || g.Segment != b.segment || g.From >= b.until {
		return nil
	}
	var newest sql.NullInt64
	err := tx.QueryRowContext(tx.ctx, `SELECT max(start) FROM minutes WHERE station = ? AND segment = ? AND start >= ? AND start < ?`,
		id, int64(g.Segment), int64(g.From), int64(g.To)).Scan(&newest)
	if newest.Valid {
		g.From = station.Instant(newest.Int64).Add(station.Minute60)
	}
	return err
}

// Gaps returns the gaps of a station that overlap [from, to), in order of time, then segment: the whole minutes in which there
// was no sample.
func (s *Store) Gaps(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Gap, error) {
	var out []station.Gap
	err := s.each(ctx, "gaps", func(rows *sql.Rows) error {
		var g station.Gap
		err := rows.Scan(&g.From, &g.To, &g.Segment)
		out = append(out, g)
		return err
	}, `SELECT start, "end", segment FROM gaps WHERE `+ofStation+` AND start < ? AND "end" > ? ORDER BY start, segment`,
		k.Site, k.Station, int64(to), int64(from))
	return out, err
}
