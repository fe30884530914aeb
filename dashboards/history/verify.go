package history

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
)

// object is a line of a database's schema.
type object struct{ kind, name, table, text string }

// objects returns the schema of a database, by kind and name.
func objects(ctx context.Context, db *sql.DB) ([]object, error) {
	rows, err := db.QueryContext(ctx, "SELECT type, name, tbl_name, ifnull(sql, '') FROM sqlite_schema ORDER BY type, name")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []object
	for rows.Next() {
		var o object
		if err := rows.Scan(&o.kind, &o.name, &o.table, &o.text); err != nil {
			return nil, err
		}
		o.text = plain(o.text)
		out = append(out, o)
	}
	return out, rows.Err()
}

var (
	remarks = regexp.MustCompile(`--[^\n]*`)
	spaces  = regexp.MustCompile(`\s+`)
	edges   = regexp.MustCompile(` ?([(),]) ?`)
)

// plain returns a statement without remarks and without the spaces that mean nothing: ALTER TABLE
// lays its text out by itself. A remark that is none, within a text or a name, leaves the quote
// before it behind, which no statement of ours has there.
func plain(text string) string {
	text = spaces.ReplaceAllString(remarks.ReplaceAllString(text, " "), " ")
	return strings.TrimSpace(edges.ReplaceAllString(text, "$1"))
}

// expected returns the schema that the migrations up to a version make.
func expected(ctx context.Context, version int) ([]object, error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1) // each connection has a memory of its own
	names, err := migrationFiles()
	if err != nil {
		return nil, err
	}
	for n := range version {
		if err := apply(ctx, db, names[n], n+1); err != nil {
			return nil, err
		}
	}
	return objects(ctx, db)
}

// Verify checks a database that comes from elsewhere before anything else opens it: that it is
// whole, that its rows refer to rows that are there, and that its schema is the one that its
// version has, with no trigger, view, index or table besides. It changes nothing.
func Verify(ctx context.Context, path string) error {
	if _, err := os.Stat(path); err != nil {
		return fmt.Errorf("cannot read history database: %w", err)
	}
	db, err := connect(path, 1, "query_only(1)", "cell_size_check(1)")
	if err != nil {
		return err
	}
	defer db.Close()
	have, err := version(ctx, db, path)
	if err != nil {
		return err
	}
	names, err := migrationFiles()
	if err != nil {
		return err
	}
	switch {
	case have < 1:
		return fmt.Errorf("history database %q is empty", path)
	case have > len(names):
		return newer(path, have, len(names))
	}
	if err := sameSchema(ctx, db, path, have); err != nil {
		return err
	}
	return whole(ctx, db, path)
}

// sameSchema compares a database's schema with that of its version.
func sameSchema(ctx context.Context, db *sql.DB, path string, version int) error {
	want, err := expected(ctx, version)
	if err != nil {
		return fmt.Errorf("cannot make the schema of version %d: %w", version, err)
	}
	is, err := objects(ctx, db)
	if err != nil {
		return fmt.Errorf("cannot read the schema of history database %q: %w", path, err)
	}
	var faults []string
	for _, o := range is {
		if !slices.Contains(want, o) {
			faults = append(faults, fmt.Sprintf("its %s %.80q is not ours", o.kind, o.name))
		}
	}
	for _, o := range want {
		if !slices.Contains(is, o) {
			faults = append(faults, fmt.Sprintf("the %s %q is missing or other", o.kind, o.name))
		}
	}
	var rows int
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM schema_version").Scan(&rows); err != nil {
		return fmt.Errorf("cannot read schema version of history database %q: %w", path, err)
	}
	if rows != 1 { // the number of the file's user is that of the probe, see Store.Probe
		faults = append(faults, fmt.Sprintf("it states %d versions of its schema", rows))
	}
	if len(faults) > 0 {
		return fmt.Errorf("history database %q does not have the schema of version %d: %s: somebody changed it, do not restore it", path, version, strings.Join(faults[:min(len(faults), 5)], "; "))
	}
	return nil
}

// whole checks every page, index and reference.
func whole(ctx context.Context, db *sql.DB, path string) error {
	for _, check := range []string{"PRAGMA integrity_check(5)", "PRAGMA foreign_key_check"} {
		rows, err := db.QueryContext(ctx, check)
		if err != nil {
			return fmt.Errorf("history database %q is damaged: %w", path, err)
		}
		faults, err := lines(rows)
		if err != nil {
			return fmt.Errorf("history database %q is damaged: %w", path, err)
		}
		if len(faults) > 0 {
			return fmt.Errorf("history database %q is damaged (%s)", path, strings.Join(faults, "; "))
		}
	}
	return nil
}

// lines returns the first rows as text, without one that says "ok".
func lines(rows *sql.Rows) (out []string, err error) {
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	cells := make([]any, len(columns))
	for i := range cells {
		cells[i] = new(sql.NullString)
	}
	for rows.Next() && len(out) < 5 {
		if err := rows.Scan(cells...); err != nil {
			return nil, err
		}
		var words []string
		for _, c := range cells {
			words = append(words, c.(*sql.NullString).String)
		}
		if text := strings.Join(words, " "); text != "ok" {
			out = append(out, text)
		}
	}
	return out, rows.Err()
}
