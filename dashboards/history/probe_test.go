package history

import (
	"bytes"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// ruin overwrites all pages of a database file but the first, as a dying disk does, once they all
// stand in the file.
func ruin(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	i, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096 // SQLite's default
	if _, err := f.WriteAt(bytes.Repeat([]byte{0xa5}, int(i.Size())-page), page); err != nil {
		t.Fatal(err)
	}
}

func TestAProbeMeetsDamage(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := open(t, path)
	if err := s.Probe(t.Context()); err != nil {
		t.Fatalf("a sound history: %v", err)
	}
	ruin(t, path)
	for range 2 { // and it stays: no commit mends it
		if err := s.Probe(t.Context()); !errors.Is(err, ErrDamaged) {
			t.Fatalf("got %v, want %v", err, ErrDamaged)
		}
	}
}

// A probe commits, so it notices when nothing can be written. That it does is seen by SQLite's
// data_version, which changes for one connection when another has committed.
func TestAProbeWrites(t *testing.T) {
	s := fresh(t)
	c, err := s.read.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	version := func() (n int64) {
		if err := c.QueryRowContext(t.Context(), `PRAGMA data_version`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := version()
	if err := s.Probe(t.Context()); err != nil {
		t.Fatal(err)
	}
	if version() == before {
		t.Error("nothing was committed")
	}
	if _, err := s.write.Exec(`PRAGMA query_only(1)`); err != nil { // stands for any reason not to write
		t.Fatal(err)
	}
	if err := s.Probe(t.Context()); err == nil || errors.Is(err, ErrDamaged) {
		t.Errorf("got %v, want a refusal to write", err)
	}
}
