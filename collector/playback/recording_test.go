package playback

import (
	"bytes"
	"io"
	"math"
	"testing"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/collector/trace"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func recordings(t *testing.T) []Recording {
	t.Helper()
	rs, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	return rs
}

// Samples stand on the grid of the rate, at most 2 ms from where they were recorded, and
// with the values that were recorded.
func TestRecordingsAreRegular(t *testing.T) {
	for _, r := range recordings(t) {
		if len(r.Blocks) != 3 {
			t.Errorf("%s has %d channels", r.Name, len(r.Blocks))
		}
		step := int64(math.Round(1e6/r.Rate)) * station.Microsecond
		for k := range r.Blocks {
			b := &r.Blocks[k]
			ts, vs := raw(t, r.Name, b.Channel)
			if len(ts) != len(b.Times) {
				t.Fatalf("%s: %d of %d samples", r.Name, len(b.Times), len(ts))
			}
			for i, at := range b.Times {
				if at != b.Start.Add(int64(i)*step) {
					t.Fatalf("%s: sample %d stands at %s", r.Name, i, at)
				}
				if d := ts[i].Sub(at); d < -2*station.Millisecond || d > 2*station.Millisecond || vs[i] != b.Values[i] {
					t.Fatalf("%s: sample %d was moved by %d ns, or is %g, recorded %g", r.Name, i, d, b.Values[i], vs[i])
				}
			}
		}
	}
}

// raw gives a channel as the file has it.
func raw(t *testing.T, name string, ch station.Channel) (ts []station.Instant, vs []float64) {
	t.Helper()
	data, err := files.ReadFile("recordings/" + name + ".csv.gz")
	if err != nil {
		t.Fatal(err)
	}
	f, err := trace.NewReader(bytes.NewReader(data), name, 0)
	if err != nil {
		t.Fatal(err)
	}
	for {
		blocks, err := f.Next()
		if err == io.EOF {
			return ts, vs
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range blocks {
			if b.Channel == ch {
				ts, vs = append(ts, b.Times...), append(vs, b.Values...)
			}
		}
	}
}

// The counter in each file counts what the model says it did, two strokes a cycle; the
// cuts have the lengths that their truth was counted over.
func TestTruthFitsTheFiles(t *testing.T) {
	seconds := map[string]int64{"even": 120, "slow": 300, "narrow": 300, "leak": 480, "shutdown": 600, "fill": 330}
	rs := recordings(t)
	if len(rs) != len(seconds) {
		t.Errorf("%d recordings", len(rs))
	}
	for _, r := range rs {
		if got := r.counted(); got != float64(r.Cycles) {
			t.Errorf("%s: the counter counts %g cycles, the model %d", r.Name, got, r.Cycles)
		}
		if r.Strokes/2 != r.Cycles {
			t.Errorf("%s: %d strokes are not %d cycles", r.Name, r.Strokes, r.Cycles)
		}
		if _, length := r.Span(); length != seconds[r.Name]*station.Second {
			t.Errorf("%s lasts %d ns", r.Name, length)
		}
	}
}

func TestARecordingWithHolesIsRefused(t *testing.T) {
	for name, blocks := range map[string][]station.Block{
		"empty": nil,
		"holes": {{Channel: station.Cycles, Values: []float64{1, 2}}, {Channel: station.InletPressure, Values: []float64{1}}},
	} {
		r := Recording{Name: name, Blocks: blocks}
		if r.check() == nil {
			t.Errorf("%s is taken", name)
		}
	}
}
