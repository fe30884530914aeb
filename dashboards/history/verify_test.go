package history

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// raw runs SQL on a file beside the store.
func raw(t *testing.T, path string, texts ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, text := range texts {
		if _, err := db.Exec(text); err != nil {
			t.Fatal(err)
		}
	}
}

// Databases of every version that we have dumps of, before and after they are brought up to date,
// have the schema that the migrations make. Source of the dumps: the programs of those versions.
func TestVerifyKnowsEveryVersion(t *testing.T) {
	for _, v := range []int{1, 3, 4, 5, 6, 7} {
		text, err := os.ReadFile(filepath.Join("testdata", fmt.Sprintf("version%d.sql", v)))
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "history.db")
		raw(t, path, string(text))
		if err := Verify(t.Context(), path); err != nil {
			t.Errorf("version %d: %v", v, err)
		}
		if err := open(t, path).Close(); err != nil {
			t.Fatal(err)
		}
		if err := Verify(t.Context(), path); err != nil {
			t.Errorf("version %d, brought up to date: %v", v, err)
		}
	}
}

func TestVerifyRefusesWhatSomebodyChanged(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"trigger":         {"CREATE TRIGGER t AFTER INSERT ON audit BEGIN DELETE FROM audit; END", `trigger "t"`},
		"view":            {"CREATE VIEW v AS SELECT 1", `view "v"`},
		"index":           {"CREATE INDEX i ON audit (who)", `index "i"`},
		"table":           {"CREATE TABLE x (y)", `table "x"`},
		"table gone":      {"DROP TABLE export_queue", "export_queue"},
		"column":          {"ALTER TABLE audit ADD COLUMN z TEXT", `table "audit"`},
		"two versions":    {"INSERT INTO schema_version VALUES (1)", "2 versions"},
		"another program": {"PRAGMA application_id = 7", "another program"},
		"dangling":        {"PRAGMA foreign_keys = 0; INSERT INTO notes (station, at, who, text) VALUES (77, 1, 'a', 'b')", "notes"},
		"newer":           {"UPDATE schema_version SET version = 999", "999"},
		"older":           {"UPDATE schema_version SET version = 1", "is not ours"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "history.db")
			if err := open(t, path).Close(); err != nil {
				t.Fatal(err)
			}
			raw(t, path, c.text)
			if err := Verify(t.Context(), path); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, want %q", err, c.want)
			}
		})
	}
}

// A text that only looks like a remark does not vanish.
func TestPlainKeepsTexts(t *testing.T) {
	for _, c := range [][2]string{{"a (b INTEGER, -- it\n c TEXT)", "a(b INTEGER,c TEXT)"}, {"a DEFAULT '-- x\n'", "a DEFAULT ' '"}, {"a /* b */", "a /* b */"}} {
		if got := plain(c[0]); got != c[1] {
			t.Errorf("%q: %q, want %q", c[0], got, c[1])
		}
	}
}

// Whatever the umask, and whatever an older program left, the database is for its owner only.
func TestTheDatabaseIsForItsOwner(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o664); err != nil { // past the umask
		t.Fatal(err)
	}
	s := open(t, path)
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		if info, err := os.Stat(name); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", name, info.Mode(), err)
		}
	}
	s.Close()
}
