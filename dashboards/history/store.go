package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"

	"strokewise/analyzer/station"

	_ "modernc.org/sqlite" // the database driver, pure Go
)

// ErrStale is wrapped by Commit when a commit is at or below its partition's stored
// position: it has been stored before, and nothing of the call has been stored now.
var ErrStale = errors.New("position is already stored")

// busyMs is how long a statement waits for a lock of another process (a backup, a
// person's change) before it fails. Reading, for however long, locks nothing.
const busyMs = 5000

// readers is the size of the pool of reading connections.
const readers = 4

// Options of a Store. The zero value is usable.
type Options struct {
	// SyncAlways makes every commit survive a power loss (synchronous FULL). Without it
	// a commit survives a kill of the process; a power loss may take back the newest
	// commits, each as a whole.
	SyncAlways bool
	// Receivers names the notification receivers: each transition is queued for each.
	Receivers []string
	// Exporters names the exporters: each minute and transition is queued for them.
	Exporters []string
}

// Store is the history database: one file, one writing connection, a pool of reading
// ones. It is safe for concurrent use.
type Store struct {
	path      string
	receivers []string
	exporters []string
	write     *sql.DB // a single connection
	read      *sql.DB
	fresh     *sql.DB // opens a connection for each query, see Probe
	damage    atomic.Pointer[string]
	stmt      statements
	repeated  atomic.Int64

	mu      sync.Mutex // one writing transaction at a time; guards ids, beats and resumed
	ids     map[station.Key]int64
	beats   int16           // of Probe
	resumed map[int64]bound // by station: where a restored history ends
}

// Open opens the database file, makes it where there is none, checks its integrity
// (quick_check, which reads the whole file) and brings its schema up to date.
func Open(path string, opt Options) (*Store, error) {
	s := &Store{path: path, receivers: opt.Receivers, exporters: opt.Exporters, ids: make(map[station.Key]int64)}
	if err := s.open(context.Background(), opt); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (s *Store) open(ctx context.Context, opt Options) (err error) {
	if err := ownersOnly(s.path); err != nil {
		return err
	}
	sync := "NORMAL"
	if opt.SyncAlways {
		sync = "FULL"
	}
	if s.write, err = connect(s.path, 1, "journal_mode(WAL)", "synchronous("+sync+")", "foreign_keys(1)", "journal_size_limit(67108864)"); err != nil {
		return err
	}
	if err := check(ctx, s.write, s.path); err != nil {
		return err
	}
	if err := migrate(ctx, s.write, s.path); err != nil {
		return err
	}
	if s.read, err = connect(s.path, readers, "query_only(1)"); err != nil {
		return err
	}
	if s.fresh, err = connect(s.path, 1, "query_only(1)"); err != nil {
		return err
	}
	s.fresh.SetMaxIdleConns(-1)
	if err := s.loadIDs(ctx); err != nil {
		return err
	}
	if err := s.loadResumed(ctx); err != nil {
		return err
	}
	if err := s.openExport(ctx); err != nil {
		return err
	}
	return s.stmt.prepare(ctx, s.write)
}

// connect opens a pool of n connections with the given pragmas.
func connect(path string, n int, pragmas ...string) (*sql.DB, error) {
	// a schema that somebody changed runs no function of ours, and nobody writes past SQL
	q := url.Values{"_txlock": {"immediate"}, "_defensive": {"1"}, "_pragma": append([]string{fmt.Sprintf("busy_timeout(%d)", busyMs), "trusted_schema(0)"}, pragmas...)}
	if strings.Contains(pragmas[0], "query_only") {
		q.Set("_txlock", "deferred")
	}
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?"+q.Encode())
	if err != nil {
		return nil, fmt.Errorf("cannot open history database %q: %w", path, err)
	}
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	return db, nil
}

// check reads the whole file and refuses a damaged one.
func check(ctx context.Context, db *sql.DB, path string) error {
	rows, err := db.QueryContext(ctx, "PRAGMA quick_check(5)")
	if err != nil {
		return fmt.Errorf("cannot open history database %q: %w; it and its folder must be writable for the user that runs strokewise", path, err)
	}
	defer rows.Close()
	var faults []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return fmt.Errorf("cannot check history database %q: %w", path, err)
		}
		if line != "ok" {
			faults = append(faults, line)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("cannot check history database %q: %w", path, err)
	}
	if len(faults) > 0 {
		return fmt.Errorf("history database %q is damaged (%s): restore a backup, or move the file away to begin a new history", path, strings.Join(faults, "; "))
	}
	return nil
}

func (s *Store) loadIDs(ctx context.Context) error {
	rows, err := s.write.QueryContext(ctx, "SELECT id, site, station FROM stations")
	if err != nil {
		return fmt.Errorf("cannot read stations of history database %q: %w", s.path, err)
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var k station.Key
		if err := rows.Scan(&id, &k.Site, &k.Station); err != nil {
			return fmt.Errorf("cannot read stations of history database %q: %w", s.path, err)
		}
		s.ids[k] = id
	}
	return rows.Err()
}

// Repeated counts minutes that Commit was given again after they had been stored: the
// first stays, and the totals count it once.
func (s *Store) Repeated() int64 { return s.repeated.Load() }

// Close ends all connections. Commits under way end first.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.fresh != nil {
		errs = append(errs, s.fresh.Close())
	}
	errs = append(errs, s.stmt.close())
	if s.write != nil {
		errs = append(errs, s.write.Close())
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("cannot close history database %q: %w", s.path, err)
	}
	return nil
}
