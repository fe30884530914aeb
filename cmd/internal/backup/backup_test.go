package backup

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
)

var press = station.Key{Site: "northdock", Station: "press-4"}

// dataFolder makes a data folder whose history holds a minute; the store stays open.
func dataFolder(t *testing.T) (string, *history.Store) {
	t.Helper()
	dir := t.TempDir()
	s, err := history.Open(filepath.Join(dir, historyName), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	m := station.Minute{Start: station.Instant(1767225600 * station.Second), Covered: 60e9, Strokes: 61, StrokeMethod: station.MethodBoth}
	err = s.Commit(t.Context(), []history.Commit{{Partition: 3, Position: 17, Stations: []history.StationMinutes{{Key: press, Minutes: []station.Minute{m}}}}})
	if err != nil {
		t.Fatal(err)
	}
	return dir, s
}

// made makes a backup in both forms.
func made(t *testing.T) map[string]string {
	t.Helper()
	data, _ := dataFolder(t)
	to := t.TempDir()
	out := map[string]string{"folder": filepath.Join(to, "b"), "archive": filepath.Join(to, "b.tar.gz")}
	for form, path := range out {
		m, err := Write(t.Context(), data, path, WriteOptions{Program: "9.9"})
		if err != nil || m.Positions[3] != 17 || m.Stations != 1 || m.Schema != history.Schema() {
			t.Fatalf("%s: %+v, %v", form, m, err)
		}
	}
	left, _ := os.ReadDir(to)
	if len(left) != 2 {
		t.Errorf("besides the backups there is something left: %v", left)
	}
	return out
}

func TestBackupAndRestore(t *testing.T) {
	for form, path := range made(t) {
		to := filepath.Join(t.TempDir(), "new")
		r, err := Restore(t.Context(), path, to, RestoreOptions{Who: "jo"})
		if err != nil || r.Aside != "" || r.Program != "9.9" {
			t.Fatalf("%s: %+v, %v", form, r, err)
		}
		names, _ := contents(to)
		if len(names) != 1 || names[0] != historyName {
			t.Errorf("%s: the folder holds %v", form, names)
		}
		s, err := history.Open(filepath.Join(to, historyName), history.Options{})
		if err != nil {
			t.Fatal(err)
		}
		totals, _ := s.Totals(t.Context())
		l, _ := s.Lineage(t.Context())
		acts, _ := s.Acts(t.Context(), 0, math.MaxInt64)
		if totals[press].Strokes != 61 || !strings.Contains(l.Restored, path) || len(acts) != 1 || acts[0].Who != "jo" || acts[0].What != "restore" {
			t.Errorf("%s: totals %+v, lineage %+v, audit %+v", form, totals, l, acts)
		}
		s.Close()
	}
}

func TestNothingIsOverwritten(t *testing.T) {
	backups := made(t)
	data, s := dataFolder(t)
	for form, path := range backups {
		if _, err := Write(t.Context(), data, path, WriteOptions{Program: "1"}); err == nil || !strings.Contains(err.Error(), "there already") {
			t.Errorf("%s: %v", form, err)
		}
	}
	from := backups["archive"]
	if _, err := Restore(t.Context(), from, data, RestoreOptions{}); err == nil || !strings.Contains(err.Error(), "--replace") {
		t.Errorf("into a folder that is not empty: %v", err)
	}
	if _, err := Restore(t.Context(), from, data, RestoreOptions{Replace: true}); err == nil || !strings.Contains(err.Error(), "in use") {
		t.Errorf("under an open history: %v", err)
	}
	s.Close()
	l, err := samplelog.Open(t.Context(), samplelog.Options{Dir: filepath.Join(data, "log"), MaxBytes: 1 << 24})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(t.Context(), from, data, RestoreOptions{Replace: true}); err == nil || !strings.Contains(err.Error(), "another process") {
		t.Errorf("under an open log: %v", err)
	}
	l.Close()
	for n := range 2 { // a second time too
		r, err := Restore(t.Context(), from, data, RestoreOptions{Replace: true, KeepLog: n == 0})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := history.Inspect(t.Context(), filepath.Join(r.Aside, historyName)); err != nil {
			t.Errorf("the old history: %v", err)
		}
		_, err = os.Stat(filepath.Join(data, "log"))
		if kept := err == nil; kept != (n == 0) {
			t.Errorf("log kept %v in restore %d", kept, n)
		}
	}
}

// What is damaged, cut off or something else is refused, and the data folder is as it was.
func TestDamagedBackupsAreRefused(t *testing.T) {
	backups := made(t)
	archive, err := os.ReadFile(backups["archive"])
	if err != nil {
		t.Fatal(err)
	}
	db, err := os.ReadFile(filepath.Join(backups["folder"], historyName))
	if err != nil {
		t.Fatal(err)
	}
	head, err := os.ReadFile(filepath.Join(backups["folder"], manifestName))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	folder := func(name string, files map[string][]byte) string {
		path := filepath.Join(dir, name)
		if err := os.Mkdir(path, 0o700); err != nil {
			t.Fatal(err)
		}
		for n, data := range files {
			file(filepath.Join(name, n), data)
		}
		return path
	}
	flipped := func(b []byte, at int) []byte {
		b = bytes.Clone(b)
		b[at] ^= 0x10
		return b
	}
	text := func(from, to string) []byte { return bytes.Replace(head, []byte(from), []byte(to), 1) }
	for name, c := range map[string]struct{ path, want string }{
		"missing":      {filepath.Join(dir, "none.tar.gz"), "no such file"},
		"no archive":   {file("a.tar.gz", db), "no .tar.gz archive"},
		"cut off":      {file("b.tar.gz", archive[:len(archive)/2]), "unexpected EOF"},
		"flipped":      {file("c.tar.gz", flipped(archive, len(archive)/2)), ""},
		"other files":  {file("d.tar.gz", tarOf(t, "../../etc/passwd", []byte("x"))), "no backup of this program"},
		"no manifest":  {folder("e", map[string][]byte{historyName: db}), "no backup of this program"},
		"no history":   {folder("f", map[string][]byte{manifestName: head}), "not whole"},
		"short":        {folder("g", map[string][]byte{manifestName: head, historyName: db[:len(db)-1]}), "damaged"},
		"long":         {folder("h", map[string][]byte{manifestName: head, historyName: append(bytes.Clone(db), 0)}), "damaged"},
		"other bytes":  {folder("i", map[string][]byte{manifestName: head, historyName: flipped(db, len(db)-100)}), "SHA-256"},
		"newer format": {folder("j", map[string][]byte{manifestName: text(`"format": 1`, `"format": 7`), historyName: db}), "format 7"},
		"torn":         {folder("k", map[string][]byte{manifestName: head[:20], historyName: db}), "damaged"},
		"bad database": {folder("l", described(t, append([]byte("no database"), db[11:]...))), "history.db"},
	} {
		data := t.TempDir()
		_, err := Restore(t.Context(), c.path, data, RestoreOptions{})
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.path) {
			t.Errorf("%s: %v", name, err)
		}
		if left, _ := os.ReadDir(data); len(left) != 0 {
			t.Errorf("%s: the data folder holds %v", name, left)
		}
	}
}

// described gives the files of a backup whose manifest fits any history.
func described(t *testing.T, db []byte) map[string][]byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x")
	if err := os.WriteFile(path, db, 0o600); err != nil {
		t.Fatal(err)
	}
	n, sum, err := digest(t.Context(), path, nil)
	if err != nil {
		t.Fatal(err)
	}
	head, err := json.Marshal(Manifest{Format: format, Bytes: n, SHA256: sum})
	if err != nil {
		t.Fatal(err)
	}
	return map[string][]byte{manifestName: head, historyName: db}
}

func tarOf(t *testing.T, name string, data []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	w := tar.NewWriter(z)
	if err := w.WriteHeader(&tar.Header{Name: name, Size: int64(len(data)), Mode: 0o600}); err != nil {
		t.Fatal(err)
	}
	_, _ = w.Write(data)
	w.Close()
	z.Close()
	return b.Bytes()
}

// Restored by root, the files belong to whom the folder belongs to.
func TestRestoreByRootKeepsTheOwner(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root can give files away")
	}
	from := made(t)["archive"]
	data, s := dataFolder(t)
	s.Close()
	if err := os.Chown(data, 1234, 1235); err != nil {
		t.Fatal(err)
	}
	r, err := Restore(t.Context(), from, data, RestoreOptions{Replace: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(data, historyName), r.Aside} {
		info, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		if st := info.Sys().(*syscall.Stat_t); st.Uid != 1234 || st.Gid != 1235 {
			t.Errorf("%s belongs to %d:%d", path, st.Uid, st.Gid)
		}
	}
}
