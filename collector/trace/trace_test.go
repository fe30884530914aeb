package trace

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
)

// all reads a whole trace: times and values by channel.
func all(r *Reader) (map[station.Channel][]station.Instant, map[station.Channel][]float64, error) {
	ts, vs := map[station.Channel][]station.Instant{}, map[station.Channel][]float64{}
	for {
		blocks, err := r.Next()
		if err == io.EOF {
			return ts, vs, nil
		}
		if err != nil {
			return ts, vs, err
		}
		for _, b := range blocks {
			ts[b.Channel] = append(ts[b.Channel], b.Times...)
			vs[b.Channel] = append(vs[b.Channel], b.Values...)
		}
	}
}

func readString(s string) (map[station.Channel][]station.Instant, map[station.Channel][]float64, error) {
	r, err := NewReader(strings.NewReader(s), "t.csv", 0)
	if err != nil {
		return nil, nil, err
	}
	return all(r)
}

func TestReadsColumnsInAnyOrderWithUnits(t *testing.T) {
	ts, vs, err := readString("\ufeffcycles,outlet_pressure[bar], time ,inlet_pressure[kPa abs],tank_temperature\r\n" +
		"7,9.5,1767225600.25,712.325,20\r\n,,2026-01-01T00:00:01Z,,\r\n\r\n8,+9.25,1767225602.1234567,\"700\",\r\n")
	if err != nil {
		t.Fatal(err)
	}
	if v := vs[station.Cycles]; len(v) != 2 || v[1] != 8 {
		t.Errorf("cycles %v", v)
	}
	if v := vs[station.OutletPressure]; math.Abs(v[0]-950e3) > 1e-6 || math.Abs(v[1]-925e3) > 1e-6 {
		t.Errorf("outlet %v", v)
	}
	if v := vs[station.InletPressure]; math.Abs(v[0]-611e3) > 1e-6 {
		t.Errorf("inlet %v", v)
	}
	if v := vs[station.TankTemperature]; v[0] != 293.15 || len(v) != 1 {
		t.Errorf("temperature %v", v)
	}
	if at := ts[station.Cycles]; at[0] != 1767225600250000000 || at[1] != 1767225602123457000 {
		t.Errorf("times %v", at)
	}
}

func TestFaultsSayWhereWhatAndWhatWasExpected(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":      {"", "cannot read trace t.csv:1: the file is empty; expected a header such as time,inlet_pressure,outlet_pressure,cycles"},
		"channel":    {"time,inlet\n", "cannot read trace t.csv:1: column inlet: there is no such channel; expected time and some of inlet_pressure, outlet_pressure, cycles, supply_open, header_pressure, tank_temperature, inlet_flow"},
		"no time":    {"cycles\n", "cannot read trace t.csv:1: there is no column time; expected a header such as time,inlet_pressure,outlet_pressure,cycles"},
		"time alone": {"time\n", "cannot read trace t.csv:1: there is no column beside time; expected a header such as time,inlet_pressure,outlet_pressure,cycles"},
		"twice":      {"time,cycles,cycles\n", "cannot read trace t.csv:1: column cycles: occurs twice; expected each column once"},
		"unit":       {"time,inlet_pressure[at]\n", "cannot read trace t.csv:1: column inlet_pressure[at]: the unit is unknown; expected one of kPa, MPa, Pa, bar, mbar or psi"},
		"semicolons": {"time;cycles\n", "cannot read trace t.csv:1: the columns are separated by semicolons; expected commas, and a dot in decimal numbers"},
		"cells":      {"time,cycles\n1,2,3\n", "cannot read trace t.csv:2: the line has 3 cells; expected 2, as the header has"},
		"number":     {"time,cycles\n1,2\n2,two\n", `cannot read trace t.csv:3: column cycles: "two" is no number; expected a decimal number such as 612.4, or an empty cell where there is no reading`},
		"nan":        {"time,cycles\n1,NaN\n", `cannot read trace t.csv:2: column cycles: "NaN" is no number; expected a decimal number such as 612.4, or an empty cell where there is no reading`},
		"huge":       {"time,cycles\n1,1e300\n", `cannot read trace t.csv:2: column cycles: "1e300" is not finite, or beyond 1e15; expected a number, or an empty cell where there is no reading`},
		"time":       {"time,cycles\nnoon,1\n", `cannot read trace t.csv:2: column time: "noon" is no time; expected Unix seconds such as 1767225600.01, or RFC 3339 such as 2026-01-01T06:00:00.01Z`},
		"goes back":  {"time,cycles\n5,1\n4,1\n", "cannot read trace t.csv:3: column time: 1970-01-01T00:00:04Z is not after 1970-01-01T00:00:05Z, the row before; expected times that increase; cut the trace where the clock was set"},
		"long line":  {"time,cycles\n1," + strings.Repeat("1", maxLine) + "\n", "cannot read trace t.csv:2: the line is too long; expected at most 65536 bytes"},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := readString(c.text)
			var e *Error
			if !errors.As(err, &e) || err.Error() != c.want {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

func TestWhatIsWrittenIsReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var buf bytes.Buffer
		var dst io.Writer = &buf
		var z *gzip.Writer
		if rapid.Bool().Draw(rt, "gzip") {
			z = gzip.NewWriter(&buf)
			dst = z
		}
		w, err := NewWriter(dst, station.InletPressure, station.Cycles)
		if err != nil {
			rt.Fatal(err)
		}
		n := rapid.IntRange(0, 3000).Draw(rt, "n")
		at := station.Instant(1767225600e9)
		var ts []station.Instant
		var ps []float64
		for i := range n {
			at = at.Add(int64(1+i%7) * 333 * station.Microsecond)
			p := math.Round(6000+float64(i%100)) * 100
			ts, ps = append(ts, at), append(ps, p)
			if err := w.Write(at, p, math.NaN()); err != nil {
				rt.Fatal(err)
			}
		}
		w.Close()
		if z != nil {
			z.Close()
		}
		r, err := NewReader(&buf, "t.csv", 0)
		if err != nil {
			rt.Fatal(err)
		}
		gotT, gotV, err := all(r)
		if err != nil || len(gotV[station.Cycles]) != 0 || len(gotV[station.InletPressure]) != n {
			rt.Fatalf("%v, %d of %d", err, len(gotV[station.InletPressure]), n)
		}
		for i := range ts {
			if gotT[station.InletPressure][i] != ts[i] || math.Abs(gotV[station.InletPressure][i]-ps[i]) > 1e-6 {
				rt.Fatalf("row %d", i)
			}
		}
	})
}

func FuzzReader(f *testing.F) {
	for _, s := range []string{"time,cycles\n1,2\n", "time,inlet_pressure[bar abs]\n1767225600.5,6\n2026-01-01T00:00:01Z,\n", "\x1f\x8b", "\ufefftime,cycles\r\n1,\"2\"\r\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewReader(bytes.NewReader(data), "f", 0)
		if err != nil {
			return
		}
		for {
			blocks, err := r.Next()
			if err != nil {
				return
			}
			for _, b := range blocks {
				for i, v := range b.Values {
					if math.IsNaN(v) || math.IsInf(v, 0) || i > 0 && b.Times[i] <= b.Times[i-1] {
						t.Fatalf("value %g at %d", v, b.Times[i])
					}
				}
			}
		}
	})
}

func BenchmarkRead(b *testing.B) {
	const rows = 50_000
	var text bytes.Buffer
	text.WriteString("time,inlet_pressure,outlet_pressure,cycles\n")
	for i := range rows {
		fmt.Fprintf(&text, "%.3f,%.1f,%.1f,%d\n", 1767225600+float64(i)*0.05, 600+10*math.Sin(float64(i)), 900+5*math.Cos(float64(i)), i/20)
	}
	perRow := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rows, "ns/row")
	}
	b.Run("trace", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			r, err := NewReader(bytes.NewReader(text.Bytes()), "b", 0)
			if err != nil {
				b.Fatal(err)
			}
			for {
				if _, err := r.Next(); err == io.EOF {
					break
				} else if err != nil {
					b.Fatal(err)
				}
			}
		}
		perRow(b)
	})
	b.Run("encoding-csv", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			r := csv.NewReader(bytes.NewReader(text.Bytes()))
			r.ReuseRecord = true
			r.Read()
			for {
				row, err := r.Read()
				if err == io.EOF {
					break
				}
				for _, c := range row {
					if _, err := strconv.ParseFloat(c, 64); err != nil {
						b.Fatal(err)
					}
				}
			}
		}
		perRow(b)
	})
}
