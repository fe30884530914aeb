package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"reflect"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
)

// Changed is a stored minute that another analysis would have concluded otherwise.
type Changed struct {
	Was, Is station.Minute
	Charge  cost.Charge // of Is, at the tariff in force when it starts
}

// Compare gives which of a station's stored minutes differ from what is given, in order of
// time. Minutes that are not stored are left out: they are not closed yet, or too old. So are those that were rebuilt
// from samples that came late, which an analysis in the log's order lacks.
func (s *Store) Compare(ctx context.Context, k station.Key, minutes []station.Minute) ([]Changed, error) {
	if len(minutes) == 0 {
		return nil, nil
	}
	type key struct {
		start   station.Instant
		segment uint32
	}
	first, last := minutes[0].Start, minutes[0].Start
	is := make(map[key]station.Minute, len(minutes))
	for i := range minutes {
		m := minutes[i]
		first, last = min(first, m.Start), max(last, m.Start)
		is[key{m.Start, m.Segment}] = m
	}
	stored, err := s.Minutes(ctx, k, first, last+1)
	if err != nil {
		return nil, err
	}
	var out []Changed
	for _, was := range stored {
		if m, ok := is[key{was.Start, was.Segment}]; ok && !was.Revised && !sameMinute(&was, &m) {
			out = append(out, Changed{Was: was, Is: m})
		}
	}
	return out, nil
}

// sameMinute tells whether two minutes are stored alike.
func sameMinute(a, b *station.Minute) bool {
	return reflect.DeepEqual(minuteValues(nil, a), minuteValues(nil, b))
}

// Replace puts minutes in the place of stored ones of the same key, with all sums that they
// are in, and likewise the figures of hours: the only way in which these change. Minutes are
// exported again. The audit has a line of it. Nothing is done where a minute is no longer stored as was.
func (s *Store) Replace(ctx context.Context, k station.Key, revision uint32, changed []Changed, act Act, hours ...ClosedHour) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		id, err := tx.id(k)
		if err != nil {
			return err
		}
		for i := range changed {
			if err := tx.replace(id, revision, &changed[i]); err != nil {
				return fmt.Errorf("minute %s: %w", changed[i].Was.Start, err)
			}
		}
		for i := range hours {
			if err := tx.refigure(id, &hours[i]); err != nil {
				return err
			}
		}
		return tx.act(&act)
	})
	if err != nil {
		return fmt.Errorf("cannot replace minutes of %s in history database %q: %w", k, s.path, err)
	}
	return nil
}

func (tx *transaction) replace(id int64, revision uint32, c *Changed) error {
	if err := tx.recharge(id, c); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			return errors.New("it is no longer stored")
		}
		return err
	}
	n, err := changed(tx.ExecContext(tx.ctx, `DELETE FROM minutes WHERE station = ? AND start = ? AND segment = ?`, id, int64(c.Was.Start), int64(c.Was.Segment)))
	if err != nil {
		return err
	}
	if n != 1 {
		return errors.New("it is no longer stored")
	}
	tx.args = chargeValues(minuteValues(append(tx.args[:0], id, int64(revision)), &c.Is), &c.Charge)
	if _, err := tx.stmt.minute.ExecContext(tx.ctx, tx.args...); err != nil {
		return err
	}
	if err := tx.rehour(id, revision, c.Is.Start.Floor(hourLen), c.Is.Segment); err != nil {
		return err
	}
	if err := tx.queue(id, int64(c.Is.Start), int64(c.Is.Segment), nil, nil); err != nil {
		return err
	}
	var was, is board.Totals
	was.Add(&c.Was)
	is.Add(&c.Is)
	is.Sub(&was)
	return tx.add(id, &is)
}

// rehour sums an hour up anew from its minutes. An hour whose minutes have been deleted in
// part would lose them, so it stays as it is.
func (tx *transaction) rehour(id int64, revision uint32, start station.Instant, segment uint32) error {
	h := Hour{Start: start, Segment: segment, OutletMax: station.Gauge(math.NaN())}
	rows, err := tx.QueryContext(tx.ctx, `SELECT `+readColumns+` FROM minutes WHERE station = ? AND start >= ? AND start < ? AND segment = ?`,
		id, int64(start), int64(start.Add(hourLen)), int64(segment))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var m station.Minute
		if err := scanMinute(rows, &m); err != nil {
			return err
		}
		h.add(&m)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	var had int64
	err = tx.QueryRowContext(tx.ctx, `SELECT minutes FROM hours WHERE station = ? AND start = ? AND segment = ?`, id, int64(start), int64(segment)).Scan(&had)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if had > h.Minutes {
		return nil
	}
	if _, err := tx.ExecContext(tx.ctx, `DELETE FROM hours WHERE station = ? AND start = ? AND segment = ?`, id, int64(start), int64(segment)); err != nil {
		return err
	}
	if err := tx.closeHour(id, revision, &h); err != nil {
		return err
	}
	_, err = tx.ExecContext(tx.ctx, `UPDATE hours SET revised = (SELECT count(*) FROM minutes WHERE station = ?1 AND start >= ?2 AND start < ?3 AND segment = ?4
		AND revised IS NOT NULL) WHERE station = ?1 AND start = ?2 AND segment = ?4`, id, int64(start), int64(start.Add(hourLen)), int64(segment))
	return err
}
