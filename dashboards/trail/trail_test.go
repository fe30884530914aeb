package trail

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// written returns the bytes of a trail of n entries, over two openings, and its head.
func written(t *testing.T, n int) ([]byte, Head, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "audit.jsonl")
	var head Head
	for part := range 2 {
		tr, err := Open(path, noon)
		if err != nil {
			t.Fatal(err)
		}
		for i := part * n / 2; i < (part+1)*n/2; i++ {
			if err := tr.Append(Entry{At: noon, Who: "ana", What: "note", Detail: fmt.Sprintf("number %d\nwith \u202e and <b>", i), Outcome: "done"}); err != nil {
				t.Fatal(err)
			}
		}
		head = tr.Head()
		if err := tr.Close(); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data, head, path
}

func count(n *int) func(*Entry) error { return func(*Entry) error { *n++; return nil } }

func TestAWholeTrail(t *testing.T) {
	data, head, path := written(t, 10)
	n := 0
	got, err := Walk(bytes.NewReader(data), head, count(&n))
	if err != nil || n != 10 || got != head || head.N != 10 {
		t.Errorf("%d entries, head %v, want %v: %v", n, got, head, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if again, err := ParseHead(head.String()); err != nil || again != head {
		t.Errorf("%v, %v", again, err)
	}
	for _, bad := range []string{"", "x", "1", "1:ab", ":"} {
		if _, err := ParseHead(bad); err == nil {
			t.Errorf("%q is taken for a head", bad)
		}
	}
}

// Whatever is done to a line is found at that line or the next.
func TestTamperedTrails(t *testing.T) {
	data, head, _ := written(t, 10)
	lines := bytes.SplitAfter(data, []byte("\n"))[:10]
	join := func(l ...[]byte) []byte { return bytes.Join(l, nil) }
	without := func(i int) []byte { return join(append(append([][]byte{}, lines[:i]...), lines[i+1:]...)...) }
	swapped := append([][]byte{}, lines...)
	swapped[3], swapped[4] = swapped[4], swapped[3]
	for name, c := range map[string]struct {
		data []byte
		line int64
	}{
		"a changed name":      {bytes.Replace(data, []byte("number 4"), []byte("number 9"), 1), 6},
		"the first taken out": {without(0), 1},
		"one taken out":       {without(5), 6},
		"the last taken out":  {without(9), 10},
		"two exchanged":       {join(swapped...), 4},
		"one twice":           {join(append(append([][]byte{}, lines[:3]...), lines[2:]...)...), 4},
		"the end cut off":     {data[:len(data)-5], 10},
		"all taken out":       {nil, 1},
		"no line at all":      {[]byte("x\n"), 1},
		"an endless line":     {[]byte(strings.Repeat("x", 1<<20)), 1},
	} {
		_, err := Walk(bytes.NewReader(c.data), head, func(*Entry) error { return nil })
		var b *Broken
		if !errors.As(err, &b) || b.Line != c.line {
			t.Errorf("%s: %v, want line %d", name, err, c.line)
		}
	}
	// the last line changed, and no head noted: nothing behind it tells. This is what heads are noted for.
	last := bytes.Replace(data, []byte("number 9"), []byte("number 0"), 1)
	if _, err := Walk(bytes.NewReader(last), Head{}, func(*Entry) error { return nil }); err != nil {
		t.Errorf("%v", err)
	}
	if _, err := Walk(bytes.NewReader(last), head, func(*Entry) error { return nil }); err == nil {
		t.Error("the noted head does not tell that the last line was changed")
	}
}

// A crash in the middle of a line costs that line, which was not confirmed; the trail goes on and says so.
func TestATornLine(t *testing.T) {
	data, _, path := written(t, 10)
	if err := os.WriteFile(path, data[:len(data)-20], 0o600); err != nil {
		t.Fatal(err)
	}
	tr, err := Open(path, noon)
	if err != nil {
		t.Fatal(err)
	}
	defer tr.Close()
	if err := tr.Append(Entry{At: noon, Who: "ben", What: "note", Outcome: "done"}); err != nil {
		t.Fatal(err)
	}
	mended, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var what []string
	if _, err := Walk(bytes.NewReader(mended), tr.Head(), func(e *Entry) error { what = append(what, e.What); return nil }); err != nil || strings.Join(what[8:], ",") != "note,trail mended,note" {
		t.Errorf("%v, %v", what, err)
	}
}

func FuzzWalk(f *testing.F) {
	f.Add([]byte(`{"n":1,"at":"2026-03-02T12:00:00Z","who":"a","what":"b","outcome":"done","prev":"` + first + "\"}\n"))
	f.Add([]byte("\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		n := 0
		head, err := Walk(bytes.NewReader(data), Head{}, count(&n))
		if err == nil && (int64(n) != head.N || bytes.Count(data, []byte("\n")) != n) {
			t.Errorf("%d entries, head %v", n, head)
		}
	})
}
