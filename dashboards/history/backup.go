package history

import (
	"context"
	"errors"
	"fmt"
	"os"

	"modernc.org/sqlite"

	"strokewise/analyzer/station"
)

// Copied tells what a copy of a history holds.
type Copied struct {
	Schema    int
	Positions [station.Partitions]uint64
	Stations  int
}

// Copy writes a copy of the history database at path to a new file, as it stands at one
// moment: it may be written to meanwhile by this process or another. Writers are not
// blocked; their write-ahead log cannot be emptied until the copy is done, so it grows by
// what they write. The copy is compact, and on the disk when Copy returns.
func Copy(ctx context.Context, path, to string) (Copied, error) {
	var c Copied
	if _, err := os.Stat(path); err != nil {
		return c, fmt.Errorf("cannot back up history database: %w", err)
	}
	db, err := connect(path, 1, "cache_size(-8192)")
	if err != nil {
		return c, err
	}
	defer db.Close()
	if _, err := version(ctx, db, path); err != nil {
		return c, err
	}
	if _, err := db.ExecContext(ctx, `VACUUM INTO ?`, to); err != nil {
		return c, fmt.Errorf("cannot copy history database %q to %q: %w", path, to, full(err))
	}
	f, err := os.Open(to)
	if err == nil {
		err = f.Sync()
		f.Close()
	}
	if err != nil {
		return c, fmt.Errorf("cannot write %q to the disk: %w", to, err)
	}
	return Inspect(ctx, to)
}

// Inspect checks a history database that nobody has open, and tells what it holds. It
// refuses a damaged one and one that this program cannot read; it changes nothing.
func Inspect(ctx context.Context, path string) (Copied, error) {
	var c Copied
	if _, err := os.Stat(path); err != nil {
		return c, fmt.Errorf("cannot read history database: %w", err)
	}
	db, err := connect(path, 1, "query_only(1)")
	if err != nil {
		return c, err
	}
	defer db.Close()
	if err := check(ctx, db, path); err != nil {
		return c, err
	}
	if c.Schema, err = version(ctx, db, path); err != nil {
		return c, err
	}
	names, err := migrationFiles()
	if err != nil {
		return c, err
	}
	switch {
	case c.Schema == 0:
		return c, fmt.Errorf("history database %q is empty", path)
	case c.Schema > len(names):
		return c, newer(path, c.Schema, len(names))
	}
	s := &Store{path: path, read: db}
	if c.Positions, err = s.Positions(ctx); err != nil {
		return c, err
	}
	err = db.QueryRowContext(ctx, `SELECT count(*) FROM stations`).Scan(&c.Stations)
	return c, err
}

// SchemaOf returns the schema version of the history database at path, 0 where there is none or an
// empty file. It changes nothing.
func SchemaOf(ctx context.Context, path string) (int, error) {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	db, err := connect(path, 1, "query_only(1)")
	if err != nil {
		return 0, err
	}
	defer db.Close()
	return version(ctx, db, path)
}

// InUse tells, with an error, whether anybody has the database at path open. It changes
// nothing; a file that is no database is not in use.
func InUse(ctx context.Context, path string) error {
	if _, err := os.Stat(path); err != nil {
		return nil
	}
	db, err := connect(path, 1, "locking_mode(EXCLUSIVE)")
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, `PRAGMA busy_timeout = 0`); err != nil {
		return nil
	}
	tx, err := db.BeginTx(ctx, nil)
	var e *sqlite.Error
	if errors.As(err, &e) && e.Code()&0xff == sqliteBusy {
		return fmt.Errorf("history database %q is in use: stop the program, or the person's query, that has it open", path)
	}
	if err == nil {
		_ = tx.Rollback()
	}
	return nil
}

// sqliteBusy is SQLite's primary result code for a locked file.
const sqliteBusy = 5
