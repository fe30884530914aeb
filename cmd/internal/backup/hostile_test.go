package backup

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"database/sql"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
)

// repacked makes a backup folder of a history that somebody changed, with a manifest that fits.
func repacked(t *testing.T, texts ...string) string {
	t.Helper()
	data, s := dataFolder(t)
	from := filepath.Join(t.TempDir(), "b")
	if _, err := Write(t.Context(), data, from, WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	s.Close()
	db, err := sql.Open("sqlite", filepath.Join(from, historyName))
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range texts {
		if _, err := db.Exec(text); err != nil {
			t.Fatal(err)
		}
	}
	db.Close()
	whole, err := os.ReadFile(filepath.Join(from, historyName))
	if err != nil {
		t.Fatal(err)
	}
	out := t.TempDir()
	for name, text := range described(t, whole) {
		if err := os.WriteFile(filepath.Join(out, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// A backup whose schema is not ours is refused, and the data folder stays empty: a trigger of it
// would run with every commit.
func TestABackupWithAForeignSchemaIsRefused(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"trigger": {"CREATE TRIGGER t AFTER INSERT ON audit BEGIN DELETE FROM audit; END", `trigger "t" is not ours`},
		"view":    {"CREATE VIEW v AS SELECT * FROM audit", `view "v" is not ours`},
		"index":   {"CREATE INDEX i ON audit (who)", `index "i" is not ours`},
		"orphans": {"PRAGMA foreign_keys = 0; INSERT INTO notes (station, at, who, text) VALUES (77, 1, 'a', 'b')", "damaged"},
	} {
		data := t.TempDir()
		_, err := Restore(t.Context(), repacked(t, c.text), data, RestoreOptions{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if left, _ := os.ReadDir(data); len(left) != 0 {
			t.Errorf("%s: the data folder holds %v", name, left)
		}
	}
}

// bomb makes an archive whose history is zeros, with a manifest that tells of so many bytes.
func bomb(t *testing.T, told, zeros int64) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "bomb.tar.gz")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := gzip.NewWriter(f)
	w := tar.NewWriter(z)
	head, err := json.Marshal(Manifest{Format: format, Bytes: told, SHA256: strings.Repeat("0", 64)})
	if err != nil {
		t.Fatal(err)
	}
	for name, size := range map[string]int64{manifestName: int64(len(head))} {
		if err := w.WriteHeader(&tar.Header{Name: name, Size: size, Mode: 0o600, Typeflag: tar.TypeReg}); err != nil {
			t.Fatal(err)
		}
		_, _ = w.Write(head)
	}
	if err := w.WriteHeader(&tar.Header{Name: historyName, Size: zeros, Mode: 0o600, Typeflag: tar.TypeReg}); err != nil {
		t.Fatal(err)
	}
	if _, err := io.CopyN(w, zero{}, zeros); err != nil {
		t.Fatal(err)
	}
	w.Close()
	z.Close()
	f.Close()
	return path
}

type zero struct{}

func (zero) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// A small archive that unpacks to much is refused before a byte of it is written: by what it tells
// itself, by what it holds, or by its digest, and in little memory.
func TestAnArchiveThatUnpacksToMuchIsRefused(t *testing.T) {
	const big = 256 << 20
	for name, c := range map[string]struct {
		told, zeros int64
		want        string
	}{
		"told":    {big, big, "no history can be compressed so far"},
		"lied":    {4096, big, "tells of 4096"},
		"no sum":  {16 << 20, 16 << 20, "SHA-256"},
		"minus":   {-1, 16 << 20, "-1 bytes"},
		"cut off": {32 << 20, 16 << 20, "tells of 33554432"},
	} {
		path, data := bomb(t, c.told, c.zeros), t.TempDir()
		asked := false
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Restore(t.Context(), path, data, RestoreOptions{free: func(string) (int64, error) { asked = true; return 1 << 40, nil }})
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if asked { // what is asked right before the first byte is written
			t.Errorf("%s: it was about to be written", name)
		}
		if used := after.TotalAlloc - before.TotalAlloc; used > 8<<20 {
			t.Errorf("%s: %d bytes of memory", name, used)
		}
	}
}

// A history that does not fit on the disk is refused before it is written.
func TestAFullDiskIsSaidBefore(t *testing.T) {
	data := t.TempDir()
	_, err := Restore(t.Context(), made(t)["archive"], data, RestoreOptions{free: func(string) (int64, error) { return 1 << 20, nil }})
	if err == nil || !strings.Contains(err.Error(), "make room") {
		t.Errorf("%v", err)
	}
	if left, _ := os.ReadDir(data); len(left) != 0 {
		t.Errorf("the data folder holds %v", left)
	}
}

// With a key, backups are signed, and one that is unsigned, changed or of another key is refused.
func TestSignedBackups(t *testing.T) {
	key, other := Key(bytes.Repeat([]byte{7}, 32)), Key(bytes.Repeat([]byte{8}, 32))
	data, s := dataFolder(t)
	defer s.Close()
	for _, form := range []string{"b", "b.tar.gz"} {
		signed, unsigned := filepath.Join(t.TempDir(), form), filepath.Join(t.TempDir(), form)
		if _, err := Write(t.Context(), data, signed, WriteOptions{Key: key}); err != nil {
			t.Fatal(err)
		}
		if _, err := Write(t.Context(), data, unsigned, WriteOptions{}); err != nil {
			t.Fatal(err)
		}
		for name, c := range map[string]struct {
			path string
			key  Key
			want string
		}{
			"signed":         {signed, key, ""},
			"without a key":  {signed, nil, ""},
			"unsigned":       {unsigned, key, "not signed"},
			"of another key": {signed, other, "not of this key"},
		} {
			_, err := Restore(t.Context(), c.path, t.TempDir(), RestoreOptions{Key: c.key})
			if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
				t.Errorf("%s %s: %v", form, name, err)
			}
		}
	}
	signed := filepath.Join(t.TempDir(), "c")
	if _, err := Write(t.Context(), data, signed, WriteOptions{Key: key}); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(signed, manifestName))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(signed, manifestName), bytes.Replace(text, []byte(`"stations": 1`), []byte(`"stations": 2`), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(t.Context(), signed, t.TempDir(), RestoreOptions{Key: key}); err == nil || !strings.Contains(err.Error(), "not of this key") {
		t.Errorf("changed: %v", err)
	}
}

func TestKeys(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct{ text, want string }{
		"short": {"abc", "32 are needed"}, "spaces": {strings.Repeat(" ", 100), "has 0 bytes"}, "long enough": {" " + strings.Repeat("k", 32) + "\n", ""},
	} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		k, err := ReadKey(path)
		if c.want == "" && (err != nil || len(k) != 32) || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %d bytes, %v", name, len(k), err)
		}
	}
}

// Whatever the umask, backups and what is restored are for their owner only.
func TestBackupsAreForTheirOwner(t *testing.T) {
	old := syscall.Umask(0)
	defer syscall.Umask(old)
	restored := filepath.Join(t.TempDir(), "data")
	for _, path := range made(t) {
		if _, err := Restore(t.Context(), path, restored, RestoreOptions{Replace: true}); err != nil {
			t.Fatal(err)
		}
		ownersOnly(t, path)
	}
	ownersOnly(t, restored)
}

func ownersOnly(t *testing.T, root string) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s: %s", path, info.Mode())
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}
