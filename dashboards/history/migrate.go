package history

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"sort"
)

//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks the file as ours ("SWHI"): another program's database is refused.
const applicationID = 0x53574849

// migrationFiles gives the migrations in order; the n-th leads to schema version n.
func migrationFiles() ([]string, error) {
	names, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return nil, err
	}
	sort.Strings(names)
	return names, nil
}

// Schema gives the schema version of this program.
func Schema() int {
	names, _ := migrationFiles() // the files are in the program
	return len(names)
}

// migrate brings the schema up to the newest version this program knows, a transaction
// a version. It refuses databases of newer programs and of other ones.
func migrate(ctx context.Context, db *sql.DB, path string) error {
	names, err := migrationFiles()
	if err != nil {
		return err
	}
	have, err := version(ctx, db, path)
	if err != nil {
		return err
	}
	if have > len(names) {
		return newer(path, have, len(names))
	}
	for n := have; n < len(names); n++ {
		if err := apply(ctx, db, names[n], n+1); err != nil {
			return fmt.Errorf("cannot bring history database %q to schema version %d: %w", path, n+1, err)
		}
	}
	return nil
}

// version gives the schema version, 0 for an empty file.
func version(ctx context.Context, db *sql.DB, path string) (int, error) {
	var app, tables int
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&app); err != nil {
		return 0, fmt.Errorf("cannot read history database %q: %w", path, err)
	}
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return 0, fmt.Errorf("cannot read history database %q: %w", path, err)
	}
	if tables == 0 && app == 0 {
		return 0, nil
	}
	if app != applicationID {
		return 0, fmt.Errorf("%q is a database of another program: name another data folder", path)
	}
	var v int
	if err := db.QueryRowContext(ctx, "SELECT version FROM schema_version").Scan(&v); err != nil {
		return 0, fmt.Errorf("cannot read schema version of history database %q: %w", path, err)
	}
	return v, nil
}

func apply(ctx context.Context, db *sql.DB, name string, to int) error {
	text, err := migrations.ReadFile(name)
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	steps := []string{string(text), "UPDATE schema_version SET version = " + fmt.Sprint(to)}
	if to == 1 {
		steps = append([]string{
			fmt.Sprintf("PRAGMA application_id = %d", applicationID),
			"CREATE TABLE schema_version (version INTEGER NOT NULL) STRICT; INSERT INTO schema_version VALUES (0)",
		}, steps...)
	}
	for _, s := range steps {
		if _, err := tx.ExecContext(ctx, s); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return tx.Commit()
}

func newer(path string, have, know int) error {
	return fmt.Errorf("history database %q has schema version %d and this program knows versions up to %d: run a newer program, or restore a backup made with this one", path, have, know)
}
