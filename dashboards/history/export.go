package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// ExportRow is a minute, an hour, a transition or a figure of an hour on its way to an exporter: one of
// the four. Hours are not in the queue.
type ExportRow struct {
	Seq        int64 // order of the commits
	Key        station.Key
	Minute     *station.Minute
	Hour       *Hour
	Charge     cost.Charge // of Minute or Hour
	Priced     int64       // minutes of Hour that are in Charge
	Transition *rules.Transition
	Figure     *station.HourFigure
}

// ExportBatch is a stretch of the queue.
type ExportBatch struct {
	Rows     []ExportRow // without those whose minute, transition or figure is no longer stored
	From, To int64       // it holds the rows above From up to To; equal: nothing waits
}

// ExportPending says what an exporter has not done yet.
type ExportPending struct {
	Rows   int64
	Oldest time.Time // when the oldest of them was queued; zero: there is none
}

// forfeitChunk bounds the rows that one transaction forfeits: commits wait meanwhile.
const forfeitChunk = 20_000

// openExport gives each exporter a cursor. A new one starts with what is concluded from
// now on; one that is no longer configured holds nothing back.
func (s *Store) openExport(ctx context.Context) error {
	for _, name := range s.exporters {
		if _, err := s.write.ExecContext(ctx, `INSERT INTO export_cursors (exporter, seq)
			VALUES (?, coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'export_queue'), 0)) ON CONFLICT DO NOTHING`, name); err != nil {
			return fmt.Errorf("cannot add exporter %q to history database %q: %w", name, s.path, err)
		}
	}
	return nil
}

// queue queues a minute, a transition or a figure of an hour, if there is an exporter.
func (tx *transaction) queue(of, start, segment, transition, figure any) error {
	if len(tx.store.exporters) == 0 {
		return nil
	}
	if _, err := tx.stmt.export.ExecContext(tx.ctx, of, start, segment, transition, figure); err != nil {
		return fmt.Errorf("export queue: %w", err)
	}
	return nil
}

// Export gives up to limit rows behind an exporter's cursor, in the order of the commits.
func (s *Store) Export(ctx context.Context, exporter string, limit int) (ExportBatch, error) {
	from, newest, err := s.exportRange(ctx, exporter)
	if err != nil || newest <= from {
		return ExportBatch{From: from, To: from}, err
	}
	b := ExportBatch{From: from, To: min(newest, from+int64(limit))}
	if err := s.exportMinutes(ctx, &b); err != nil {
		return ExportBatch{}, err
	}
	if err := s.exportTransitions(ctx, &b); err != nil {
		return ExportBatch{}, err
	}
	if err := s.exportFigures(ctx, &b); err != nil {
		return ExportBatch{}, err
	}
	slices.SortFunc(b.Rows, func(a, b ExportRow) int { return cmp.Compare(a.Seq, b.Seq) })
	return b, nil
}

func (s *Store) exportMinutes(ctx context.Context, b *ExportBatch) error {
	return s.each(ctx, "minutes to export", func(rows *sql.Rows) error {
		r := ExportRow{Minute: new(station.Minute)}
		var err error
		if r.Charge, err = scanCharged(rows, r.Minute, &r.Seq, &r.Key.Site, &r.Key.Station); err != nil {
			return err
		}
		b.Rows = append(b.Rows, r)
		return nil
	}, `SELECT `+readColumns+`, `+chargeColumns+`, q.seq, s.site, s.station FROM export_queue q
		JOIN minutes m ON m.station = q.minute_of AND m.start = q.minute_start AND m.segment = q.minute_segment
		JOIN stations s ON s.id = q.minute_of WHERE q.seq > ? AND q.seq <= ? AND q.figure IS NULL`, b.From, b.To)
}

func (s *Store) exportFigures(ctx context.Context, b *ExportBatch) error {
	return s.each(ctx, "figures to export", func(rows *sql.Rows) error {
		r := ExportRow{Figure: new(station.HourFigure)}
		ok, err := scanFigure(rows, r.Figure, &r.Seq, &r.Key.Site, &r.Key.Station)
		if ok {
			b.Rows = append(b.Rows, r)
		}
		return err
	}, `SELECT `+figureColumns+`, q.seq, s.site, s.station FROM export_queue q
		JOIN figures f ON f.station = q.minute_of AND f.start = q.minute_start AND f.segment = q.minute_segment AND f.figure = q.figure
		JOIN stations s ON s.id = q.minute_of WHERE q.seq > ? AND q.seq <= ?`, b.From, b.To)
}

func (s *Store) exportTransitions(ctx context.Context, b *ExportBatch) error {
	return s.each(ctx, "transitions to export", func(rows *sql.Rows) error {
		r := ExportRow{Transition: new(rules.Transition)}
		if err := scanTransition(rows, r.Transition, &r.Seq); err != nil {
			return err
		}
		r.Key = r.Transition.Key
		b.Rows = append(b.Rows, r)
		return nil
	}, `SELECT `+transitionSelect+`, q.seq FROM export_queue q JOIN transitions t ON t.seq = q.transition
		JOIN stations s ON s.id = t.station WHERE q.seq > ? AND q.seq <= ?`, b.From, b.To)
}

// exportRange gives an exporter's cursor and the newest row.
func (s *Store) exportRange(ctx context.Context, exporter string) (from, to int64, err error) {
	err = s.read.QueryRowContext(ctx, `SELECT seq, coalesce((SELECT max(seq) FROM export_queue), 0) FROM export_cursors WHERE exporter = ?`, exporter).Scan(&from, &to)
	s.met(err)
	if err != nil {
		return 0, 0, fmt.Errorf("cannot read cursor of exporter %q from history database %q: %w", exporter, s.path, err)
	}
	return from, to, nil
}

// ExportDone moves an exporter's cursor up to a row and removes the rows that nobody needs
// any more.
func (s *Store) ExportDone(ctx context.Context, exporter string, upTo int64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	tx, err := s.write.BeginTx(ctx, nil)
	if err == nil {
		defer tx.Rollback()
		err = s.moveCursor(ctx, tx, exporter, upTo)
	}
	if err == nil {
		err = tx.Commit()
	}
	s.met(err)
	if err != nil {
		return fmt.Errorf("cannot move cursor of exporter %q in history database %q: %w", exporter, s.path, err)
	}
	return nil
}

func (s *Store) moveCursor(ctx context.Context, tx *sql.Tx, exporter string, upTo int64) error {
	n, err := changed(tx.ExecContext(ctx, `UPDATE export_cursors SET seq = max(seq, ?) WHERE exporter = ?`, upTo, exporter))
	if err == nil && n == 0 {
		err = sql.ErrNoRows
	}
	if err != nil {
		return err
	}
	args := make([]any, len(s.exporters))
	for i, name := range s.exporters {
		args[i] = name
	}
	_, err = tx.ExecContext(ctx, `DELETE FROM export_queue WHERE seq <= (SELECT min(seq) FROM export_cursors WHERE exporter IN (`+marks(len(args))+`))`, args...)
	return err
}

// ExportForfeit gives up the rows that an exporter has not done and that were queued
// before a time, up to the first that was queued later, and tells how many.
func (s *Store) ExportForfeit(ctx context.Context, exporter string, before time.Time) (int64, error) {
	var gone int64
	for {
		from, newest, err := s.exportRange(ctx, exporter)
		if err != nil || newest <= from {
			return gone, err
		}
		to := min(newest, from+forfeitChunk)
		var kept int64
		err = s.read.QueryRowContext(ctx, `SELECT seq FROM export_queue WHERE seq > ? AND seq <= ? AND queued >= ? ORDER BY seq LIMIT 1`,
			from, to, before.Unix()).Scan(&kept)
		switch {
		case err == nil:
			to = kept - 1
		case !errors.Is(err, sql.ErrNoRows):
			return gone, fmt.Errorf("cannot read export queue of history database %q: %w", s.path, err)
		}
		if to <= from {
			return gone, nil
		}
		if err := s.ExportDone(ctx, exporter, to); err != nil {
			return gone, err
		}
		gone += to - from
	}
}

// ExportPending tells how many rows wait for an exporter, and since when.
func (s *Store) ExportPending(ctx context.Context, exporter string) (ExportPending, error) {
	from, to, err := s.exportRange(ctx, exporter)
	if err != nil || to <= from {
		return ExportPending{}, err
	}
	var queued int64
	err = s.read.QueryRowContext(ctx, `SELECT queued FROM export_queue WHERE seq > ? ORDER BY seq LIMIT 1`, from).Scan(&queued)
	if errors.Is(err, sql.ErrNoRows) { // done meanwhile
		return ExportPending{}, nil
	}
	if err != nil {
		return ExportPending{}, fmt.Errorf("cannot read export queue of history database %q: %w", s.path, err)
	}
	return ExportPending{Rows: to - from, Oldest: time.Unix(queued, 0)}, nil
}
