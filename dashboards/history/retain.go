package history

import (
	"context"
	"fmt"
	"time"

	"strokewise/analyzer/station"
)

// Retention says what may be deleted: rows that lie before these times. Zero keeps all.
// Totals, notes and the audit stay for ever.
type Retention struct {
	Minutes station.Instant // minutes, gaps and intervals; whole hours of minutes only
	Hours   station.Instant // hours with their costs, figures and transitions
}

const (
	batchAim   = 10 * time.Millisecond // how long a deleting transaction should hold commits up
	batchLeast = 50                    // rows
	batchMost  = 5000
	batchRest  = 20 * time.Millisecond // between two, for the commits that wait
)

// Retain deletes what is older than r says, in short transactions of their own, and gives
// how many rows are gone, and how long the longest held commits up. Their pages are used again for new rows: the file does not
// shrink, and ceases to grow once as much is deleted as is added.
func (s *Store) Retain(ctx context.Context, r Retention) (rows int64, longest time.Duration, err error) {
	ids, err := s.stationIDs(ctx)
	if err != nil {
		return 0, 0, err
	}
	d := deleter{store: s, batch: 100}
	for _, id := range ids {
		for _, step := range [...]struct {
			query  string
			before station.Instant
		}{
			{deleteMinutes, r.Minutes.Floor(hourLen)}, {deleteGaps, r.Minutes}, {deleteIntervals, r.Minutes},
			{deleteHours, r.Hours}, {deleteCosts, r.Hours}, {deleteFigures, r.Hours}, {deleteTransitions, r.Hours},
		} {
			if step.before <= 0 {
				continue
			}
			if err := d.all(ctx, step.query, id, int64(step.before)); err != nil {
				return d.rows, d.longest, fmt.Errorf("cannot delete what is old from history database %q: %w", s.path, err)
			}
		}
	}
	return d.rows, d.longest, nil
}

// Each deletes the oldest rows of a station (1) before a time (2), about as many as (3) says.
const (
	deleteMinutes = `DELETE FROM minutes WHERE station = ?1 AND start < coalesce(
		(SELECT start FROM minutes WHERE station = ?1 AND start < ?2 ORDER BY start LIMIT 1 OFFSET ?3), ?2)`
	deleteGaps = `DELETE FROM gaps WHERE station = ?1 AND "end" <= ?2 AND start < coalesce(
		(SELECT start FROM gaps WHERE station = ?1 AND start < ?2 ORDER BY start LIMIT 1 OFFSET ?3), ?2)`
	deleteIntervals = `DELETE FROM intervals WHERE station = ?1 AND "end" <= ?2 AND start < coalesce(
		(SELECT start FROM intervals WHERE station = ?1 AND start < ?2 ORDER BY start LIMIT 1 OFFSET ?3), ?2)`
	deleteHours = `DELETE FROM hours WHERE station = ?1 AND start < coalesce(
		(SELECT start FROM hours WHERE station = ?1 AND start < ?2 ORDER BY start LIMIT 1 OFFSET ?3), ?2)`
	deleteCosts = `DELETE FROM hour_costs WHERE station = ?1 AND start < coalesce(
		(SELECT start FROM hour_costs WHERE station = ?1 AND start < ?2 ORDER BY start LIMIT 1 OFFSET ?3), ?2)`
	deleteFigures = `DELETE FROM figures WHERE station = ?1 AND start < coalesce(
		(SELECT start FROM figures WHERE station = ?1 AND start < ?2 ORDER BY start LIMIT 1 OFFSET ?3), ?2)`
	// the newest transition of an alarm, and what is still to be sent, stay
	deleteTransitions = `DELETE FROM transitions WHERE seq IN (SELECT seq FROM transitions t WHERE station = ?1 AND at < ?2
		AND seq < (SELECT max(seq) FROM transitions n WHERE n.station = t.station AND n.alarm = t.alarm)
		AND NOT EXISTS (SELECT 1 FROM outbox o WHERE o.transition = t.seq) LIMIT ?3)`
)

// deleter deletes in batches whose size follows the time they take.
type deleter struct {
	store   *Store
	batch   int64
	rows    int64
	longest time.Duration // that a batch held commits up
}

// all repeats a query until it deletes nothing.
func (d *deleter) all(ctx context.Context, query string, id, before int64) error {
	for {
		n, took, err := d.once(ctx, query, id, before, d.batch)
		if err != nil {
			return full(err)
		}
		if n == 0 {
			return nil
		}
		d.rows += n
		switch {
		case took > batchAim:
			d.batch = max(d.batch/2, batchLeast)
		case took < batchAim/2 && n >= d.batch/2:
			d.batch = min(d.batch*2, batchMost)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(batchRest):
		}
	}
}

func (d *deleter) once(ctx context.Context, query string, args ...any) (int64, time.Duration, error) {
	if err := ctx.Err(); err != nil {
		return 0, 0, err
	}
	d.store.mu.Lock()
	defer d.store.mu.Unlock()
	began := time.Now()
	n, err := changed(d.store.write.ExecContext(context.WithoutCancel(ctx), query, args...))
	took := time.Since(began)
	d.store.met(err)
	d.longest = max(d.longest, took)
	return n, took, err
}

// stationIDs gives the numbers of all stations.
func (s *Store) stationIDs(ctx context.Context) ([]int64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := make([]int64, 0, len(s.ids))
	for _, id := range s.ids {
		out = append(out, id)
	}
	return out, ctx.Err()
}
