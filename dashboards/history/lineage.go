package history

import (
	"context"
	"database/sql"
	"fmt"

	"strokewise/analyzer/station"
)

// Lineage tells which sample log the positions count in.
type Lineage struct {
	Log      string // the log's identity, "" before the first start with one
	Restored string // what was restored and not yet gone on from, "" usually
}

// Lineage reads it.
func (s *Store) Lineage(ctx context.Context) (Lineage, error) {
	var l Lineage
	err := s.read.QueryRowContext(ctx, `SELECT log, restored FROM lineage`).Scan(&l.Log, &l.Restored)
	if err != nil {
		return l, fmt.Errorf("cannot read the lineage of history database %q: %w", s.path, err)
	}
	return l, nil
}

// MarkRestored notes that the history comes out of a backup: the next start may go on with
// another log than the one that its positions count in.
func (s *Store) MarkRestored(ctx context.Context, from string, act Act) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		if _, err := tx.ExecContext(tx.ctx, `UPDATE lineage SET restored = ?`, from); err != nil {
			return err
		}
		return tx.act(&act)
	})
	if err != nil {
		return fmt.Errorf("cannot mark history database %q as restored: %w", s.path, err)
	}
	return nil
}

// JoinLog notes the log that the positions count in, and that a restore is over; act, if
// it is not nil, goes into the audit.
func (s *Store) JoinLog(ctx context.Context, log string, act *Act) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		if _, err := tx.ExecContext(tx.ctx, `UPDATE lineage SET log = ?, restored = ''`, log); err != nil || act == nil {
			return err
		}
		return tx.act(act)
	})
	if err != nil {
		return fmt.Errorf("cannot note the sample log in history database %q: %w", s.path, err)
	}
	return nil
}

// NewLog is how a restored history goes on with another sample log.
type NewLog struct {
	Log       string
	Positions [station.Partitions]uint64   // what the log holds up to here is left out
	Snapshots [station.Partitions]Snapshot // engines to go on with, each at its partition's position
	Act       Act
}

// BeginLog lets the positions count in another log, in one transaction with snapshots that
// stand at the new positions. Minutes, totals, transitions, outbox and what was learned stay. Intervals that
// the restored engines conclude again are clipped to what is not stored yet.
func (s *Store) BeginLog(ctx context.Context, n NewLog) error {
	_, err := s.transact(ctx, func(tx *transaction) error {
		for _, q := range [...]string{`DELETE FROM positions`, `DELETE FROM snapshots`, `UPDATE learned SET position = 0`,
			`DELETE FROM late`, `DELETE FROM points`, storedEnds} {
			if _, err := tx.ExecContext(tx.ctx, q); err != nil {
				return err
			}
		}
		for p := range n.Snapshots {
			if err := tx.place(p, n.Positions[p], &n.Snapshots[p]); err != nil {
				return fmt.Errorf("partition %d: %w", p, err)
			}
		}
		if _, err := tx.ExecContext(tx.ctx, `UPDATE lineage SET log = ?, restored = ''`, n.Log); err != nil {
			return err
		}
		return tx.act(&n.Act)
	})
	if err != nil {
		return fmt.Errorf("cannot begin a new log in history database %q: %w", s.path, err)
	}
	return s.loadResumed(ctx)
}

// place stores a partition's position and snapshot.
func (tx *transaction) place(partition int, position uint64, n *Snapshot) error {
	if position > 0 {
		if _, err := tx.stmt.position.ExecContext(tx.ctx, partition, int64(position)); err != nil {
			return err
		}
	}
	return saveSnapshot(tx.ctx, tx.Tx, partition, n)
}

// storedEnds notes where each station's intervals of the newest segment end.
const storedEnds = `INSERT OR REPLACE INTO resumed (station, segment, until)
	WITH s AS (SELECT station, max(segment) AS segment FROM intervals GROUP BY station)
	SELECT i.station, i.segment, max(i."end") FROM intervals i JOIN s USING (station, segment) GROUP BY i.station`

// bound is where the stored intervals of a segment end.
type bound struct {
	segment uint32
	until   station.Instant
}

func (s *Store) loadResumed(ctx context.Context) error {
	out := make(map[int64]bound)
	err := s.each(ctx, "where it was restored", func(rows *sql.Rows) error {
		var id int64
		var b bound
		err := rows.Scan(&id, &b.segment, &b.until)
		out[id] = b
		return err
	}, `SELECT station, segment, until FROM resumed`)
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.resumed = out
	s.mu.Unlock()
	return nil
}

// clip takes from an interval what was stored before a restore; false: all of it.
func (s *Store) clip(id int64, v *station.Interval) bool {
	b, ok := s.resumed[id]
	if ok && v.Segment == b.segment && v.From < b.until {
		v.From = b.until
	}
	return v.From < v.To
}
