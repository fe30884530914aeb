package samplelog

import (
	"errors"
	"io"
	"os"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// A reader that is slower than the log gets every entry once and in order, and nothing is
// written to stderr: the client's own word on slow readers used to end up there.
func TestSlowReader(t *testing.T) {
	stderr, r, w := os.Stderr, (*os.File)(nil), (*os.File)(nil)
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	os.Stderr = w
	defer func() { os.Stderr = stderr }()
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	const entries = 700 // more than are asked for ahead
	k := station.Key{Site: "a", Station: "b"}
	for i := range entries {
		at := station.Instant(i + 1)
		if _, err := j.Append(t.Context(), 3, []station.Record{{Key: k, Arrival: at, Blocks: []station.Block{{Start: at, Values: []float64{1}}}}}); err != nil {
			t.Fatal(err)
		}
	}
	end, n := errors.New("end"), 0
	err = j.Read(t.Context(), 3, 0, func(e Entry) error {
		n++
		if e.Records[0].Arrival != station.Instant(n) {
			t.Fatalf("entry %d is that of %d", n, e.Records[0].Arrival)
		}
		if n == entries {
			return end
		}
		time.Sleep(time.Millisecond)
		return nil
	})
	if !errors.Is(err, end) || n != entries {
		t.Errorf("%d entries, %v", n, err)
	}
	if err := j.Close(); err != nil {
		t.Error(err)
	}
	w.Close()
	if text, _ := io.ReadAll(r); len(text) > 0 {
		t.Errorf("stderr: %s", text)
	}
}
