package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/rules/notify"
)

// OutboxItem is a transition on its way to a receiver.
type OutboxItem = notify.Item

// OutboxDue gives up to limit items of a receiver that are due at now, oldest first. Of
// each alarm of a station only the oldest undelivered item is given, so that a receiver
// never sees an alarm clear before it was raised.
func (s *Store) OutboxDue(ctx context.Context, receiver string, now station.Instant, limit int) ([]OutboxItem, error) {
	var out []OutboxItem
	err := s.each(ctx, "outbox", func(rows *sql.Rows) error {
		var i OutboxItem
		if err := scanTransition(rows, &i.Transition, &i.ID, &i.Receiver, &i.Attempts, &i.LastError, &i.Due); err != nil {
			return err
		}
		out = append(out, i)
		return nil
	}, `SELECT `+transitionSelect+`, o.id, o.receiver, o.attempts, o.last_error, o.due
		FROM outbox o JOIN transitions t ON t.seq = o.transition JOIN stations s ON s.id = t.station
		WHERE o.receiver = ? AND o.due <= ? AND NOT EXISTS (
			SELECT 1 FROM outbox e WHERE e.receiver = o.receiver AND e.station = o.station AND e.alarm = o.alarm AND e.id < o.id)
		ORDER BY o.id LIMIT ?`, receiver, int64(now), limit)
	return out, err
}

// OutboxDone removes a delivered item.
func (s *Store) OutboxDone(ctx context.Context, id int64) error {
	return s.outbox(ctx, id, `DELETE FROM outbox WHERE id = ?`, id)
}

// OutboxDoneAll removes delivered items, in one transaction.
func (s *Store) OutboxDoneAll(ctx context.Context, ids []int64) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		q, err := tx.PrepareContext(tx.ctx, `DELETE FROM outbox WHERE id = ?`)
		if err != nil {
			return err
		}
		defer q.Close()
		for _, id := range ids {
			if _, err := q.ExecContext(tx.ctx, id); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("cannot remove %d delivered outbox items from history database %q: %w", len(ids), s.path, err)
	}
	return nil
}

// OutboxRetry notes a failed attempt and puts the item off until next.
func (s *Store) OutboxRetry(ctx context.Context, id int64, next station.Instant, lastErr string) error {
	return s.outbox(ctx, id, `UPDATE outbox SET attempts = attempts + 1, due = ?, last_error = ? WHERE id = ?`, int64(next), lastErr, id)
}

func (s *Store) outbox(ctx context.Context, id int64, query string, args ...any) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	n, err := changed(s.write.ExecContext(ctx, query, args...))
	s.met(err)
	if err == nil && n == 0 {
		err = sql.ErrNoRows
	}
	if err != nil {
		return fmt.Errorf("cannot change outbox item %d in history database %q: %w", id, s.path, err)
	}
	return nil
}

// OutboxPending gives the number of undelivered items by receiver, also of receivers
// that are no longer configured.
func (s *Store) OutboxPending(ctx context.Context) (map[string]int64, error) {
	out := make(map[string]int64, len(s.receivers))
	for _, r := range s.receivers {
		out[r] = 0
	}
	err := s.each(ctx, "outbox", func(rows *sql.Rows) error {
		var r string
		var n int64
		if err := rows.Scan(&r, &n); err != nil {
			return err
		}
		out[r] = n
		return nil
	}, `SELECT receiver, count(*) FROM outbox GROUP BY receiver`)
	return out, err
}

// OutboxWaiting gives up to limit items of a receiver, oldest first, whether they are due
// or not, and all of an alarm's.
func (s *Store) OutboxWaiting(ctx context.Context, receiver string, limit int) ([]OutboxItem, error) {
	var out []OutboxItem
	err := s.each(ctx, "outbox", func(rows *sql.Rows) error {
		var i OutboxItem
		if err := scanTransition(rows, &i.Transition, &i.ID, &i.Receiver, &i.Attempts, &i.LastError, &i.Due); err != nil {
			return err
		}
		out = append(out, i)
		return nil
	}, `SELECT `+transitionSelect+`, o.id, o.receiver, o.attempts, o.last_error, o.due
		FROM outbox o JOIN transitions t ON t.seq = o.transition JOIN stations s ON s.id = t.station
		WHERE o.receiver = ? ORDER BY o.id LIMIT ?`, receiver, limit)
	return out, err
}

// OutboxOldest gives the event time of the oldest undelivered item by receiver.
func (s *Store) OutboxOldest(ctx context.Context) (map[string]station.Instant, error) {
	out := make(map[string]station.Instant, len(s.receivers))
	err := s.each(ctx, "outbox", func(rows *sql.Rows) error {
		var r string
		var at int64
		if err := rows.Scan(&r, &at); err != nil {
			return err
		}
		out[r] = station.Instant(at)
		return nil
	}, `SELECT o.receiver, min(t.at) FROM outbox o JOIN transitions t ON t.seq = o.transition GROUP BY o.receiver`)
	return out, err
}
