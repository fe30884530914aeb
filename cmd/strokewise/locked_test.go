package main

import (
	"database/sql"
	"testing"
)

// holdLocked locks a database against readers and writers for the time of the test.
func holdLocked(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	for _, text := range []string{"PRAGMA journal_mode = DELETE", "BEGIN EXCLUSIVE", "UPDATE schema_version SET version = version"} {
		if _, err := db.Exec(text); err != nil {
			t.Fatal(err)
		}
	}
}
