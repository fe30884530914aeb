package app

import (
	"path/filepath"
	"testing"

	"strokewise/cmd/internal/backup"
	"strokewise/dashboards/history"
)

// A start that changes the schema of a history leaves a backup with the old one, which a restore takes;
// the next start makes none.
func TestBackupBeforeAMigration(t *testing.T) {
	o := options(t, "127.0.0.1:1", "press-4")
	open := func() {
		t.Helper()
		a, err := New(t.Context(), o)
		if err != nil {
			t.Fatal(err)
		}
		a.Close()
	}
	open() // a new history needs no backup
	// as the program before had it: the newest migration makes these and nothing else
	execute(t, o, `DROP TABLE points; DROP TABLE holes; DROP TABLE late; DROP TABLE ceilings;
		ALTER TABLE minutes DROP COLUMN revised; ALTER TABLE hours DROP COLUMN revised; UPDATE schema_version SET version = version - 1`)
	was := history.Schema() - 1
	made := func() []string {
		list, err := filepath.Glob(filepath.Join(o.Data, beforeSchema+"*"))
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	if n := made(); len(n) > 0 {
		t.Fatalf("backups of a new history: %v", n)
	}
	open()
	open()
	list := made()
	if len(list) != 1 {
		t.Fatalf("backups %v, want one", list)
	}
	if have, err := history.SchemaOf(t.Context(), filepath.Join(list[0], "history.db")); err != nil || have != was {
		t.Errorf("the backup has schema %d, %v, want %d", have, err, was)
	}
	if have, err := history.SchemaOf(t.Context(), filepath.Join(o.Data, "history.db")); err != nil || have != was+1 {
		t.Errorf("the history has schema %d, %v, want %d", have, err, was+1)
	}
	if _, err := backup.Restore(t.Context(), list[0], o.Data, backup.RestoreOptions{Replace: true, KeepLog: true, Who: "test"}); err != nil {
		t.Error(err)
	}
}
