package trail

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// All pages together are the trail, the newest first, also where a line is as long as can be.
func TestPages(t *testing.T) {
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	tr := opened(t, path)
	if list, next, err := Page(path, 0, 10); err != nil || len(list) != 0 || next != 0 {
		t.Errorf("%v %d %v", list, next, err)
	}
	for i := range 57 {
		say(t, tr, strings.Repeat("x", 1+i%3*i*400))
	}
	var before int64
	want := int64(57)
	for pages := 1; ; pages++ {
		list, next, err := Page(path, before, 10)
		if err != nil || len(list) == 0 || len(list) > 10 {
			t.Fatalf("page %d: %d entries, %v", pages, len(list), err)
		}
		for _, e := range list {
			if e.N != want {
				t.Fatalf("page %d: entry %d, want %d", pages, e.N, want)
			}
			want--
		}
		if before = next; next == 0 {
			break
		}
	}
	if want != 0 {
		t.Errorf("%d entries on no page", want)
	}
	if list, _, err := Page(path, 1<<40, 3); err != nil || len(list) == 0 || list[0].N != 57 {
		t.Errorf("behind the end: %d entries, %v", len(list), err)
	}
	if err := os.WriteFile(path, []byte("garbage\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if list, next, err := Page(path, 0, 10); err != nil || len(list) != 1 || list[0].Outcome != "unreadable" || next != 0 {
		t.Errorf("%v %d %v", list, next, err)
	}
}

// No cell is a formula, and a chain that breaks is said.
func TestCSV(t *testing.T) {
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	tr := opened(t, path)
	for _, text := range []string{"=1+1", "+1", "-1", "@x", "\tx", "\r=1", "＝1", "plain, with \"quotes\"\nand lines"} {
		say(t, tr, text)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if head, err := WriteCSV(&out, bytes.NewReader(data), func() error { return nil }); err != nil || head != tr.Head() {
		t.Errorf("%v %v", head, err)
	}
	rows, err := csv.NewReader(&out).ReadAll()
	if err != nil || len(rows) != 9 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		if text := row[7]; strings.ContainsRune("=+-@\t\r＝", []rune(text)[0]) {
			t.Errorf("a formula: %q", text)
		}
	}
	if _, err := WriteCSV(&out, bytes.NewReader(bytes.Replace(data, []byte("plain"), []byte("plein"), 1)), func() error { return nil }); err != nil {
		t.Errorf("the newest line is bound by none yet: %v", err)
	}
	var b *Broken
	if _, err := WriteCSV(&out, bytes.NewReader(bytes.Replace(data, []byte("@x"), []byte("@y"), 1)), func() error { return nil }); !errors.As(err, &b) || b.Line != 5 {
		t.Errorf("a changed line: %v", err)
	}
}

// fullDisk has room for half of a line.
type fullDisk struct{ f *os.File }

func (d fullDisk) Write(p []byte) (int, error) {
	n, _ := d.f.Write(p[:len(p)/2])
	return n, errors.New("no space left on device")
}

// What a full disk took half of breaks no chain: the trail goes on behind the last whole line.
func TestAFullDiskBreaksNoChain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	tr := opened(t, path)
	say(t, tr, "one")
	tr.out = fullDisk{tr.file}
	if err := tr.Append(Entry{At: noon, What: "note", Detail: "lost"}); err == nil || tr.Fault() == nil {
		t.Error("a line that is not on disk is called written")
	}
	tr.out = tr.file
	say(t, tr, "two")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	if head, err := Walk(bytes.NewReader(data), Head{}, count(&n)); err != nil || n != 2 || head != tr.Head() || tr.Fault() != nil {
		t.Errorf("%d entries, %v", n, err)
	}
}

// FuzzPage: from whatever file and place, a page is bounded, ends before its beginning, and its CSV is a table.
func FuzzPage(f *testing.F) {
	f.Add([]byte(`{"n":1,"at":"2026-03-02T12:00:00Z","who":"a","what":"b","outcome":"done","prev":"`+first+"\"}\n"), int64(0))
	f.Add([]byte("\n\n"), int64(1))
	f.Add([]byte("x"), int64(-7))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte, before int64) {
		path := filepath.Join(dir, "audit.jsonl")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		list, next, err := Page(path, before, 3)
		if err != nil || len(list) > 3 || next < 0 || next > int64(len(data)) || len(list) > 0 && next == int64(len(data)) {
			t.Errorf("%d entries before %d, then %d: %v", len(list), before, next, err)
		}
		var out bytes.Buffer
		_, _ = WriteCSV(&out, bytes.NewReader(data), func() error { return nil })
		if _, err := csv.NewReader(&out).ReadAll(); err != nil {
			t.Error(err)
		}
	})
}
