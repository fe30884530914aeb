package trace

import (
	"bytes"
	"compress/gzip"
	"io"
	"math"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
)

// Any channels, in any order, with gaps, plain or gzipped: times come back as they were,
// values to the last few bits of the way through the column's unit.
func TestWhatIsWrittenIsReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		chs := rapid.Permutation([]station.Channel{0, 1, 2, 3, 4, 5, 6}).Draw(rt, "channels")[:rapid.IntRange(1, 7).Draw(rt, "of them")]
		n := rapid.SampledFrom([]int{0, 1, 3, 1024, 1025, 2100}).Draw(rt, "rows")
		seed := rapid.Uint64().Draw(rt, "seed")
		var buf bytes.Buffer
		var dst io.Writer = &buf
		var z *gzip.Writer
		if rapid.Bool().Draw(rt, "gzip") {
			z = gzip.NewWriter(&buf)
			dst = z
		}
		w, err := NewWriter(dst, chs...)
		if err != nil {
			rt.Fatal(err)
		}
		wantT, wantV := map[station.Channel][]station.Instant{}, map[station.Channel][]float64{}
		at := station.Instant(1767225600e9)
		row := make([]float64, len(chs))
		for range n {
			at = at.Add(int64(1+draw(&seed)%1e6) * station.Microsecond)
			for i, c := range chs {
				row[i] = math.NaN()
				if draw(&seed)%4 > 0 {
					row[i] = (float64(draw(&seed)>>11)/(1<<53) - 0.5) * 2e6
					wantT[c], wantV[c] = append(wantT[c], at), append(wantV[c], row[i])
				}
			}
			if err := w.Write(at, row...); err != nil {
				rt.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			rt.Fatal(err)
		}
		if z != nil {
			z.Close()
		}
		r, err := NewReader(&buf, "t.csv", 0)
		if err != nil {
			rt.Fatal(err)
		}
		gotT, gotV, err := all(r)
		if err != nil || len(gotT) != len(wantT) {
			rt.Fatalf("%v, %d of %d channels", err, len(gotT), len(wantT))
		}
		for c := range wantT {
			if len(gotT[c]) != len(wantT[c]) {
				rt.Fatalf("%s: %d of %d readings", c, len(gotT[c]), len(wantT[c]))
			}
			for i := range wantT[c] {
				if gotT[c][i] != wantT[c][i] || math.Abs(gotV[c][i]-wantV[c][i]) > 1e-9 {
					rt.Fatalf("%s, reading %d: %g at %s, want %g at %s", c, i, gotV[c][i], gotT[c][i], wantV[c][i], wantT[c][i])
				}
			}
		}
	})
}

// draw is a step of xorshift64*.
func draw(s *uint64) uint64 {
	*s |= 1
	*s ^= *s >> 12
	*s ^= *s << 25
	*s ^= *s >> 27
	return *s * 2685821657736338717
}

func TestWriterRefusesWhatAReaderWould(t *testing.T) {
	for name, chs := range map[string][]station.Channel{"none": nil, "twice": {station.Cycles, station.Cycles}, "unknown": {station.NumChannels}} {
		if _, err := NewWriter(io.Discard, chs...); err == nil {
			t.Errorf("channels, %s: taken", name)
		}
	}
	const now = station.Instant(1767225600e9)
	for name, c := range map[string]struct {
		at     station.Instant
		values []float64
	}{
		"the same microsecond": {now.Add(400), []float64{1}},
		"back":                 {now - 1000, []float64{1}},
		"before 1970":          {-5e8, []float64{1}},
		"beyond 2261":          {station.Instant(maxSeconds)*1e9 - 400, []float64{1}},
		"infinite":             {now.Add(1e9), []float64{math.Inf(-1)}},
		"huge":                 {now.Add(1e9), []float64{1e16}},
		"one value too many":   {now.Add(1e9), []float64{1, 2}},
	} {
		var buf bytes.Buffer
		w, err := NewWriter(&buf, station.Cycles)
		if err != nil {
			t.Fatal(err)
		}
		if name != "before 1970" {
			err = w.Write(now, 0)
		}
		if err != nil || w.Write(c.at, c.values...) == nil {
			t.Errorf("%s: %v, or taken", name, err)
		}
		if err := w.Write(now.Add(2e9), 5); err != nil {
			t.Errorf("%s: the next row: %v", name, err)
		}
		if w.Close(); bytes.Count(buf.Bytes(), []byte{'\n'}) > 3 {
			t.Errorf("%s: wrote %q", name, buf.Bytes())
		}
	}
}

func TestWriterWritesTheFormat(t *testing.T) {
	var buf bytes.Buffer
	w, err := NewWriter(&buf, station.OutletPressure, station.Cycles, station.TankTemperature)
	if err != nil {
		t.Fatal(err)
	}
	w.Write(1767225600000500900, 905.2e3, 17, math.NaN())
	w.Write(1767225600999999600, math.NaN(), math.NaN(), math.NaN())
	w.Close()
	want := "time,outlet_pressure,cycles,tank_temperature\n1767225600.000501,905.2,17,\n1767225601.000000,,,\n"
	if buf.String() != want {
		t.Errorf("got %q, want %q", buf.String(), want)
	}
}
