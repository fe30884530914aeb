package history

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// each runs a query on the reading pool and calls fn for each row.
func (s *Store) each(ctx context.Context, what string, fn func(*sql.Rows) error, query string, args ...any) (err error) {
	defer func() { s.met(err) }()
	rows, err := s.read.QueryContext(ctx, query, args...)
	if err != nil {
		return fmt.Errorf("cannot read %s from history database %q: %w", what, s.path, err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := fn(rows); err != nil {
			return fmt.Errorf("cannot read %s from history database %q: %w", what, s.path, err)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("cannot read %s from history database %q: %w", what, s.path, err)
	}
	return nil
}

// Positions gives the committed log position of each partition, 0 where there is none.
func (s *Store) Positions(ctx context.Context) ([station.Partitions]uint64, error) {
	var out [station.Partitions]uint64
	err := s.each(ctx, "positions", func(rows *sql.Rows) error {
		var partition int
		var position int64
		if err := rows.Scan(&partition, &position); err != nil {
			return err
		}
		if partition < 0 || partition >= len(out) {
			return fmt.Errorf("there is no partition %d", partition)
		}
		out[partition] = uint64(position)
		return nil
	}, `SELECT partition, position FROM positions`)
	return out, err
}

// Totals gives the committed sums of all stations: the sums over all stored minutes.
func (s *Store) Totals(ctx context.Context) (map[station.Key]board.Totals, error) {
	out := make(map[station.Key]board.Totals)
	err := s.each(ctx, "totals", func(rows *sql.Rows) error {
		var k station.Key
		var t board.Totals
		dst := []any{&k.Site, &k.Station, &t.Strokes, &t.Inlet, &t.Exhaust, &t.Delivered}
		for i := range t.StateNs {
			dst = append(dst, &t.StateNs[i])
		}
		if err := rows.Scan(dst...); err != nil {
			return err
		}
		out[k] = t
		return nil
	}, `SELECT s.site, s.station, strokes, inlet, exhaust, delivered, `+stateColumns+` FROM totals t JOIN stations s ON s.id = t.station`)
	return out, err
}

// Today gives the nanoseconds that a station spent in each state in the minutes that
// start at from or later, gaps included.
func (s *Store) Today(ctx context.Context, k station.Key, from station.Instant) ([station.NumStates]int64, error) {
	var out [station.NumStates]int64
	err := s.each(ctx, "minutes", func(rows *sql.Rows) error {
		dst := make([]any, len(out))
		for i := range out {
			dst[i] = &out[i]
		}
		return rows.Scan(dst...)
	}, `SELECT coalesce(sum(blind), 0), coalesce(sum("off"), 0), coalesce(sum(charging), 0), coalesce(sum(stroking), 0), coalesce(sum(holding), 0), coalesce(sum(starved), 0), coalesce(sum(venting), 0), coalesce(sum(residual), 0)
		FROM minutes WHERE `+ofStation+` AND start >= ?`, k.Site, k.Station, int64(from))
	if err != nil {
		return out, err
	}
	gaps, err := s.Gaps(ctx, k, from, math.MaxInt64)
	for _, g := range gaps {
		out[station.Blind] += g.Within(from, 0).Ns()
	}
	return out, err
}

// ofStation picks the rows of one station, given site and station.
const ofStation = `station = (SELECT id FROM stations WHERE site = ? AND station = ?)`

// Minutes gives the minutes of a station that start in [from, to), in order of time,
// then segment.
func (s *Store) Minutes(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Minute, error) {
	var out []station.Minute
	err := s.each(ctx, "minutes", func(rows *sql.Rows) error {
		var m station.Minute
		if err := scanMinute(rows, &m); err != nil {
			return err
		}
		out = append(out, m)
		return nil
	}, `SELECT `+readColumns+` FROM minutes WHERE `+ofStation+` AND start >= ? AND start < ? ORDER BY start, segment`,
		k.Site, k.Station, int64(from), int64(to))
	return out, err
}

// Intervals gives the state intervals of a station that overlap [from, to), in order of
// time, then segment.
func (s *Store) Intervals(ctx context.Context, k station.Key, from, to station.Instant) ([]station.Interval, error) {
	var out []station.Interval
	err := s.each(ctx, "intervals", func(rows *sql.Rows) error {
		var v station.Interval
		var state string
		if err := rows.Scan(&v.From, &v.Segment, &v.To, &state); err != nil {
			return err
		}
		v.State = states[state]
		out = append(out, v)
		return nil
	}, `SELECT start, segment, "end", state FROM intervals WHERE `+ofStation+` AND start < ? AND "end" > ? ORDER BY start, segment`,
		k.Site, k.Station, int64(to), int64(from))
	return out, err
}
