package trace

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
)

// FuzzReader: whatever a file holds, the blocks of one call have finite values and increasing
// times, a fault is an *Error with a place, and what was read can be written and read again.
func FuzzReader(f *testing.F) {
	for _, s := range []string{
		"time,cycles\n1,2\n",
		"time,inlet_pressure[bar abs]\n1767225600.5,6\n2026-01-01T00:00:01Z,\n",
		"\x1f\x8b",
		"\ufefftime,cycles\r\n1,\"2\"\r\n",
		"outlet_pressure[psi],time,tank_temperature\n+.5,9199999999.9999994,007\n",
		"time,cycles\n9199999999.9999995,1\n",
		"time,cycles,inlet_flow\n2,1,\n1,2,3\n1,2,3\n3,,\n",
	} {
		f.Add([]byte(s))
	}
	f.Add(zipped("time,cycles\n1,2\n"))
	files, _ := filepath.Glob("testdata/faults/*.csv")
	for _, path := range files {
		if data, err := os.ReadFile(path); err == nil {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewReader(bytes.NewReader(data), "f", 0)
		if err != nil {
			placed(t, err)
			return
		}
		for {
			blocks, err := r.Next()
			if err == io.EOF {
				return
			}
			if err != nil {
				placed(t, err)
				return
			}
			for i := range blocks {
				sound(t, &blocks[i])
			}
		}
	})
}

func placed(t *testing.T, err error) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || e.Line < 1 && e.Err == nil || e.Problem == "" || e.Expected == "" {
		t.Fatalf("says too little: %v", err)
	}
}

// sound checks a block, and that it survives a round trip.
func sound(t *testing.T, b *station.Block) {
	t.Helper()
	var buf bytes.Buffer
	w, err := NewWriter(&buf, b.Channel)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range b.Values {
		at := b.Times[i]
		if math.IsNaN(v) || math.IsInf(v, 0) || at < 0 || int64(at)%station.Microsecond != 0 || i > 0 && at <= b.Times[i-1] {
			t.Fatalf("value %g at %d", v, at)
		}
		if math.Abs(plain(b.Channel, v)) > maxValue {
			return // a large number of a large unit
		}
		if err := w.Write(at, v); err != nil {
			t.Fatal(err)
		}
	}
	w.Close()
	r, err := NewReader(&buf, "again", 0)
	if err != nil {
		t.Fatal(err)
	}
	ts, vs, err := all(r)
	if err != nil || len(ts[b.Channel]) != b.Len() {
		t.Fatalf("again: %d of %d, %v", len(ts[b.Channel]), b.Len(), err)
	}
	for i, v := range vs[b.Channel] {
		if ts[b.Channel][i] != b.Times[i] || math.Abs(v-b.Values[i]) > 1e-12*math.Abs(b.Values[i])+1e-9 {
			t.Fatalf("again: %g at %d, first %g at %d", v, ts[b.Channel][i], b.Values[i], b.Times[i])
		}
	}
}
