package progress

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"time"
)

// A line holds share, amount, rate and time left. Source: 250 of 1000 MB in 10 s are 25 MB/s, and the
// other 750 MB take 30 s.
func TestTheLine(t *testing.T) {
	now := time.Unix(1767225600, 0)
	var out bytes.Buffer
	b := On(&out, func() time.Time { return now }, "replay", Bytes)
	now = now.Add(10 * time.Second)
	b.Set(250e6, 1000e6)
	if got, want := out.String(), "\r\x1b[Kreplay  25 %  250 MB  25 MB/s  30s left"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	b.Set(260e6, 1000e6) // at once: not shown
	now = now.Add(10 * time.Second)
	b.Set(500e6, 0) // of what is not known
	b.End()
	b.Set(600e6, 0)
	if got, want := out.String(), "25 %  250 MB  25 MB/s  30s left\r\x1b[Kreplay  500 MB  25 MB/s\r\x1b[K"; !strings.HasSuffix(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// Nothing is written where nobody looks at a terminal.
func TestNothingIsShownElsewhere(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	defer w.Close()
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	if New(&bytes.Buffer{}, "x", Bytes) != nil || New(w, "x", Bytes) != nil || New(null, "x", Bytes) != nil {
		t.Error("a buffer, a pipe or /dev/null counts as a terminal")
	}
	s := NewStages(w, Bytes)
	s.Set("one", 1, 2)
	s.End()
	var none *Bar
	none.Set(1, 2)
	none.End()
}

// Elsewhere than on a terminal lines of plain text come every ten seconds. Source: 250 of 1000 in 10 s are 25 a second, and
// 750 take 30 s.
func TestPlainLines(t *testing.T) {
	now := time.Unix(1767225600, 0)
	var out bytes.Buffer
	b := NewOrLines(&out, func() time.Time { return now }, "export", Pieces)
	b.Set(1, 1000) // at once: nothing
	for range 2 {
		now = now.Add(10 * time.Second)
		b.Set(250, 1000)
		b.Set(251, 1000)
	}
	b.End()
	if got, want := out.String(), "export  25 %  250 pieces  25 pieces/s  30s left\nexport  25 %  250 pieces  12 pieces/s  1m0s left\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
