package history

import (
	"context"
	"errors"
	"fmt"

	"modernc.org/sqlite"
)

// ErrDamaged is wrapped by Probe where the database file is damaged.
var ErrDamaged = errors.New("the history database is damaged")

// SQLite's primary result codes for a damaged file.
const (
	sqliteCorrupt = 11
	sqliteNotADB  = 26
)

// probes read the newest row of each table that every commit or notification needs, so that they
// lead through the tables' schema, root and last page.
var probes = [...]string{
	`SELECT * FROM positions ORDER BY partition DESC LIMIT 1`,
	`SELECT * FROM stations ORDER BY id DESC LIMIT 1`,
	`SELECT * FROM totals ORDER BY station DESC LIMIT 1`,
	`SELECT * FROM minutes ORDER BY station DESC, start DESC, segment DESC LIMIT 1`,
	`SELECT * FROM transitions ORDER BY seq DESC LIMIT 1`,
	`SELECT * FROM outbox ORDER BY id DESC LIMIT 1`,
}

// Probe reads by a connection of its own, which has nothing cached, and commits a number by the
// connection that all commits use. Once any statement has met damage it fails with
// ErrDamaged until the history is opened again, which checks the whole file.
func (s *Store) Probe(ctx context.Context) error {
	for _, q := range probes {
		if err := s.met(s.probe(ctx, q)); err != nil {
			break
		}
	}
	if why := s.damage.Load(); why != nil {
		return fmt.Errorf("%w (%s): stop the program and restore a backup, or move %q away to begin a new history", ErrDamaged, *why, s.path)
	}
	if err := s.met(s.touch(ctx)); err != nil {
		return fmt.Errorf("cannot store in history database %q: %w", s.path, full(err))
	}
	return nil
}

// probe reads a row by a connection that is closed afterwards.
func (s *Store) probe(ctx context.Context, query string) error {
	rows, err := s.fresh.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	rows.Next()
	return rows.Err()
}

// touch commits a number that nobody reads, another one each time: SQLite leaves out what changes
// nothing. The header of the file has a field for it.
func (s *Store) touch(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.beats++
	_, err := s.write.ExecContext(context.WithoutCancel(ctx), fmt.Sprintf(`PRAGMA user_version = %d`, s.beats)) // no statement of this connection is cut short
	return err
}

// met notes that a statement met damage, and returns its error.
func (s *Store) met(err error) error {
	var e *sqlite.Error
	if errors.As(err, &e) {
		if c := e.Code() & 0xff; c == sqliteCorrupt || c == sqliteNotADB {
			why := e.Error()
			s.damage.CompareAndSwap(nil, &why)
		}
	}
	return err
}
