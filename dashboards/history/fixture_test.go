package history

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"
)

// broughtUp gives the store of an older program's database, written by a file of testdata and
// brought up to date, with exporters.
func broughtUp(t *testing.T, file string, exporters ...string) *Store {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "history.db")
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(string(text)); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if len(exporters) > 0 {
		return exporting(t, path, exporters...)
	}
	return open(t, path, "phone")
}
