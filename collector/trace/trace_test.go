package trace

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

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

// Decimal seconds are taken digit by digit: float64 holds no more than a quarter of a
// microsecond at present times, and its nearest value may lie beside a microsecond.
func TestTimesAreExactToTheMicrosecond(t *testing.T) {
	for text, want := range map[string]station.Instant{
		"0":                                   0,
		"1767225600":                          1767225600e9,
		"1767225600.1":                        1767225600100000e3,
		"1767225600.000001":                   1767225600000001e3,
		"1767225600.999999":                   1767225600999999e3,
		"1767225600.9999994999":               1767225600999999e3,
		"1767225600.9999995":                  1767225601e9,
		"9199999999.999999":                   9199999999999999e3,
		"2026-01-01T00:00:00Z":                1767225600e9,
		"2026-01-01T01:00:00.25+01:00":        1767225600250000e3,
		"2026-01-01T00:00:00.000000500Z":      1767225600000001e3,
		"2025-12-31T18:30:00.123456789-05:30": 1767225600123457e3,
	} {
		ts, _, err := readString("time,cycles\n" + text + ",1\n")
		if err != nil || ts[station.Cycles][0] != want {
			t.Errorf("%s: %d, %v; want %d", text, ts[station.Cycles], err, want)
		}
	}
}

func TestEveryMicrosecondIsReadAsItself(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		us := rapid.Int64Range(0, maxSeconds*1e6-1).Draw(rt, "us")
		for _, text := range []string{
			fmt.Sprintf("%d.%06d", us/1e6, us%1e6),
			station.Instant(us * station.Microsecond).String(),
		} {
			ts, _, err := readString("time,cycles\n" + text + ",1\n")
			if err != nil || ts[station.Cycles][0] != station.Instant(us*station.Microsecond) {
				rt.Fatalf("%s: %v, %v", text, ts, err)
			}
		}
	})
}

// Units: bar and MPa by definition; psi is 6.894757 kPa (NIST SP 811, appendix B.8, from
// memory); absolute pressures lose the ambient pressure that is given.
func TestUnits(t *testing.T) {
	for column, want := range map[string]float64{
		"inlet_pressure": 2e3, "inlet_pressure[kPa]": 2e3, "inlet_pressure[Pa]": 2, "inlet_pressure[bar]": 2e5,
		"inlet_pressure[mbar]": 200, "inlet_pressure[MPa]": 2e6, "inlet_pressure[psi]": 2 * 6.894757e3,
		"inlet_pressure[bar abs]": 2e5 - 95e3, " \"inlet_pressure [ MPa  abs ]\" ": 2e6 - 95e3,
		"header_pressure[bar]": 2e5, "cycles": 2, "tank_temperature": 275.15, "inlet_flow": 2e-3 / 60, "supply_open": 2,
	} {
		r, err := NewReader(strings.NewReader(column+",time\n2,5\n"), "t.csv", 95e3)
		if err != nil {
			t.Errorf("%s: %v", column, err)
			continue
		}
		_, vs, err := all(r)
		var got []float64
		for _, v := range vs {
			got = append(got, v...)
		}
		if err != nil || len(got) != 1 || math.Abs(got[0]-want) > 1e-6*math.Abs(want) {
			t.Errorf("%s: %v, %v; want %g", column, got, err, want)
		}
	}
}

func TestBlocksHoldAtMostAThousandAndTwentyFourRows(t *testing.T) {
	var text strings.Builder
	text.WriteString("time,cycles,inlet_flow\n")
	for i := range 2500 {
		fmt.Fprintf(&text, "%d,%d,\n", i, i)
	}
	r, err := NewReader(strings.NewReader(text.String()), "t.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []int{1024, 1024, 452} {
		blocks, err := r.Next()
		if err != nil || len(blocks) != 1 || blocks[0].Len() != want || blocks[0].Stamp != station.StampDevice || blocks[0].Start != blocks[0].Times[0] {
			t.Fatalf("got %d blocks, %v; want %d rows", len(blocks), err, want)
		}
	}
	for range 2 {
		if _, err := r.Next(); err != io.EOF {
			t.Fatalf("behind the end: %v", err)
		}
	}
}

// Rows may stand in any order and twice: those of one call have increasing times, and a row whose
// time does not increase begins the next call's, of which Line returns the line. No row gets lost.
func TestRowsInAnyOrder(t *testing.T) {
	r, err := NewReader(strings.NewReader("time,cycles,inlet_flow\n1,1,\n2,2,\n2,2,\n2,,7\n\n1.5,3,\n9,4,\n3,5,\n4,,\n0,,\n"), "t.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		line   int
		times  []station.Instant // of the first block
		values []float64
	}{
		{2, []station.Instant{1e9, 2e9}, []float64{1, 2}},
		{4, []station.Instant{2e9}, []float64{2}},
		{5, []station.Instant{2e9}, []float64{7e-3 / 60}},
		{7, []station.Instant{15e8, 9e9}, []float64{3, 4}},
		{9, []station.Instant{3e9}, []float64{5}},
		{11, nil, nil},
	} {
		blocks, err := r.Next()
		if err != nil || r.Line() != want.line {
			t.Fatalf("line %d, %v; want %d", r.Line(), err, want.line)
		}
		if len(blocks) == 0 && want.times == nil {
			continue
		}
		if len(blocks) != 1 || !slices.Equal(blocks[0].Times, want.times) || !slices.Equal(blocks[0].Values, want.values) {
			t.Fatalf("line %d: %+v, want %v at %v", want.line, blocks, want.values, want.times)
		}
	}
	if _, err := r.Next(); err != io.EOF {
		t.Fatal(err)
	}
}

// Memory is flat in the length of a trace: a further chunk costs no allocation, nor do rows out of
// order.
func TestAnotherChunkAllocatesNothing(t *testing.T) {
	const chunks = 12
	for name, format := range map[string]string{"seconds": "", "RFC 3339": time.RFC3339Nano, "disorder": ""} {
		var text bytes.Buffer
		text.WriteString("time,inlet_pressure,outlet_pressure,cycles\n")
		for i := range chunks * chunkRows {
			at := station.Instant(1767225600e9).Add(int64(i) * 50 * station.Millisecond)
			if name == "disorder" {
				at = at.Add(int64(i%900) * -70 * station.Millisecond) // 900 rows back in time, then on
			}
			stamp := fmt.Sprintf("%.2f", at.Seconds())
			if format != "" {
				stamp = at.Time().Format(format)
			}
			fmt.Fprintf(&text, "%s,612.4,,%d\n", stamp, i)
		}
		r, err := NewReader(&text, "t.csv", 0)
		if err != nil {
			t.Fatal(err)
		}
		next := func() {
			if _, err := r.Next(); err != nil {
				t.Fatal(err)
			}
		}
		next()
		// AllocsPerRun makes one run more than it is told.
		if n := testing.AllocsPerRun(chunks-2, next); n != 0 {
			t.Errorf("%s: %g allocations a chunk", name, n)
		}
	}
}
