package history

import (
	"context"
	"fmt"
	"os"

	"strokewise/analyzer/station"
)

// Reader reads a history that the program may have open, from another process: it changes
// nothing, locks nothing and does not check the whole file.
type Reader struct{ s Store }

// OpenReader opens a history database for reading. It refuses one of another schema version.
func OpenReader(ctx context.Context, path string) (*Reader, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("cannot read history database: %w", err)
	}
	db, err := connect(path, readers, "query_only(1)")
	if err != nil {
		return nil, err
	}
	have, err := version(ctx, db, path)
	switch {
	case err != nil:
	case have > Schema():
		err = newer(path, have, Schema())
	case have < Schema():
		err = fmt.Errorf("history database %q has schema version %d, older than this program's %d: start the program once, which brings it up to date", path, have, Schema())
	}
	if err != nil {
		db.Close()
		return nil, err
	}
	return &Reader{Store{path: path, read: db}}, nil
}

// Hours is Store.Hours.
func (r *Reader) Hours(ctx context.Context, k station.Key, from, to station.Instant) ([]Hour, error) {
	return r.s.Hours(ctx, k, from, to)
}

// Figures is Store.Figures.
func (r *Reader) Figures(ctx context.Context, k station.Key, from, to station.Instant) ([]station.HourFigure, error) {
	return r.s.Figures(ctx, k, from, to)
}

// Notes is Store.Notes.
func (r *Reader) Notes(ctx context.Context, k station.Key, from, to station.Instant) ([]Note, error) {
	return r.s.Notes(ctx, k, from, to)
}

// Close ends the connections.
func (r *Reader) Close() error { return r.s.Close() }
