package export

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/deploy/hostile"
)

const t0 = station.Instant(1767225600 * station.Second) // 2026-01-01

var press = Station{Key: station.Key{Site: "northdock", Station: "press-4"}, Branch: "forming", Reference: station.ANR}

// known is a minute of which everything is known.
func known(n int) station.Minute {
	m := station.Minute{Start: t0.Add(int64(n) * station.Minute60), Covered: 60e9, Strokes: 60, StrokeMethod: station.MethodBoth,
		Inlet: 50e6, Exhaust: 30e6, Delivered: 20e6, InletLow: 45e6, InletHigh: 55e6, DeliveredLow: 17e6, DeliveredHigh: 23e6,
		InletMean: 594e3, OutletMean: 880.25e3, OutletMax: 900e3,
		Leak: station.Estimate{Value: 1e-3, Low: 9e-4, High: 11e-4, Method: station.MethodDecay, Confidence: 0.8, At: t0}}
	m.StateNs[station.Stroking], m.StateNs[station.Holding] = 40e9, 20e9
	return m
}

// unknown is a minute of which nothing is known but that it was blind.
func unknown(n int) station.Minute {
	nan := station.Gauge(math.NaN())
	m := station.Minute{Start: t0.Add(int64(n) * station.Minute60), Covered: 30e9, AirReason: "no plate data", InletMean: nan, OutletMean: nan, OutletMax: nan,
		Leak: station.Unknown("no samples yet")}
	m.StateNs[station.Blind] = 60e9
	return m
}

// stored returns a history with two hours: the first of known minutes, a third of an hour of unknown ones in the second.
func stored(t *testing.T) *history.Reader {
	t.Helper()
	path := filepath.Join(t.TempDir(), "history.db")
	s, err := history.Open(path, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	c := history.StationMinutes{Key: press.Key, Revision: 1}
	for n := range 80 {
		m, charge := known(n), cost.Charge{Known: true, Inlet: 50e6, Energy: 21600e3, Money: 1080, Currency: "EUR", Carbon: 1_800_000, CarbonKnown: true}
		if n >= 60 {
			m, charge = unknown(n), cost.Charge{}
		}
		c.Minutes, c.Charges = append(c.Minutes, m), append(c.Charges, charge)
	}
	if err := s.Commit(t.Context(), []history.Commit{{Partition: 5, Position: 1, Stations: []history.StationMinutes{c}}}); err != nil {
		t.Fatal(err)
	}
	r, err := history.OpenReader(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// rows returns what a query finds.
func rows(t *testing.T, q Query) (out []Row) {
	t.Helper()
	q.Stations = []Station{press}
	pieces := int64(0)
	err := q.Each(t.Context(), stored(t), func(s *Station, list []history.ExportRow) error {
		pieces++
		for i := range list {
			out = append(out, RowOf(s, &list[i]))
		}
		return nil
	})
	if err != nil || pieces != q.Pieces() {
		t.Fatalf("%d pieces of %d, %v", pieces, q.Pieces(), err)
	}
	return out
}

// Sources: 50 L are 0.05 m³; 21,600 J and 0.00108 EUR are 0.006 kWh at 0.18 EUR/kWh; 1.8 g carbon dioxide at 0.3 kg/kWh;
// half-widths of 5 and 3 L make 4 L of exhaust; 40 s of work in 60 s fed are two thirds.
func TestMinutes(t *testing.T) {
	list := rows(t, Query{From: t0, To: t0.Add(3 * 24 * 60 * station.Minute60)})
	if len(list) != 80 {
		t.Fatalf("%d rows", len(list))
	}
	r := list[59]
	for name, x := range map[string]struct {
		got  *float64
		want float64
	}{
		"inlet": {r.Inlet, 0.05}, "inlet low": {r.InletLow, 0.045}, "exhaust low": {r.ExhaustLow, 0.026}, "exhaust high": {r.ExhaustHigh, 0.034},
		"delivered high": {r.DeliveredHigh, 0.023}, "energy": {r.Energy, 21600}, "cost": {r.Cost, 0.00108}, "carbon": {r.Carbon, 1.8},
		"duty": {r.Duty, 2. / 3}, "outlet": {r.OutletMean, 880250}, "leak": {r.Leak, 1e-3}, "leak high": {r.LeakHigh, 11e-4}, "confidence": {r.LeakConfidence, 0.8},
	} {
		if x.got == nil || math.Abs(*x.got-x.want) > 1e-9*x.want {
			t.Errorf("%s: %v, want %g", name, x.got, x.want)
		}
	}
	if *r.Strokes != 60 || *r.StrokeMethod != "both" || *r.Currency != "EUR" || *r.LeakMethod != "decay" || r.Stroking != 40 || r.Priced != 1 || r.Time.Unix() != 1767225600+59*60 {
		t.Errorf("%+v", r)
	}
	u := list[60]
	if u.Inlet != nil || u.Strokes != nil || u.Leak != nil || u.OutletMax != nil || u.Duty != nil || u.Energy != nil || *u.Why != "no plate data" ||
		u.Uncounted != 1 || u.Airless != 1 || u.Priced != 0 || u.Blind != 60 {
		t.Errorf("%+v", u)
	}
	if list := rows(t, Query{From: t0.Add(10 * station.Minute60), To: t0.Add(12 * station.Minute60)}); len(list) != 2 || list[0].Time.Unix() != 1767225600+600 {
		t.Errorf("%+v", list)
	}
}

// Sources: 60 times the minute; of the second hour nothing is known.
func TestHours(t *testing.T) {
	list := rows(t, Query{From: t0, To: t0.Add(24 * 60 * station.Minute60), Hourly: true})
	if len(list) != 2 {
		t.Fatalf("%d rows", len(list))
	}
	h, u := list[0], list[1]
	if math.Abs(*h.Inlet-3) > 1e-9 || *h.Strokes != 3600 || math.Abs(*h.Cost-0.0648) > 1e-9 || math.Abs(*h.Leak-1e-3) > 1e-9 || math.Abs(*h.LeakLow-9e-4) > 1e-9 ||
		h.Minutes != 60 || h.Priced != 60 || h.Airless != 0 || h.Stroking != 2400 || *h.InletMean != 594e3 || h.LeakMethod != nil {
		t.Errorf("%+v", h)
	}
	if u.Inlet != nil || u.Strokes != nil || u.Leak != nil || u.Energy != nil || u.Minutes != 20 || u.Airless != 20 || u.Uncounted != 20 || u.Priced != 0 {
		t.Errorf("%+v", u)
	}
}

// Both formats hold the same rows, under the same names, in whatever parts they were written.
func TestFormatsHoldTheSame(t *testing.T) {
	list := rows(t, Query{From: t0, To: t0.Add(24 * 60 * station.Minute60)})
	written := func(format string) []byte {
		var b bytes.Buffer
		w, err := NewWriter(&b, format)
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range [][]Row{list[:7], nil, list[7:]} {
			if err := w.Write(part); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	file := written("parquet")
	back, err := parquet.Read[Row](bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	for i := range back {
		back[i].Time = back[i].Time.UTC()
	}
	if !reflect.DeepEqual(back, list) {
		t.Errorf("read back from Parquet: %+v, want %+v", back[0], list[0])
	}
	var names []string
	f, err := parquet.OpenFile(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range f.Schema().Columns() {
		names = append(names, strings.Join(c, "."))
	}
	lines, err := csv.NewReader(bytes.NewReader(written("csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(lines) != len(list)+1 || !reflect.DeepEqual(lines[0], names) {
		t.Fatalf("%d lines, head %q, want %q", len(lines), lines[0], names)
	}
	at := func(line int, name string) string {
		for i, n := range names {
			if n == name {
				return lines[line][i]
			}
		}
		t.Fatal(name)
		return ""
	}
	if at(1, "time") != "2026-01-01T00:00:00Z" || at(1, "inlet_air_cubic_meters") != "0.05" || at(61, "inlet_air_cubic_meters") != "" || at(61, "air_unknown_because") != "no plate data" {
		t.Errorf("%q\n%q", lines[1], lines[61])
	}
}

// No hostile text leaves its cell, or begins a formula.
func TestHostileTexts(t *testing.T) {
	for name, text := range hostile.Texts {
		var b bytes.Buffer
		w := newCSV(&b)
		if err := w.Write([]Row{{Site: text, Branch: text, Station: text, Why: &text}}); err != nil {
			t.Fatal(err)
		}
		lines, err := csv.NewReader(&b).ReadAll()
		if err != nil || len(lines) != 2 {
			t.Fatalf("%s: %d lines, %v", name, len(lines), err)
		}
		if got := lines[1][1]; got != "" && strings.ContainsAny(got[:1], "=+-@") {
			t.Errorf("%s: a cell begins a formula: %q", name, got)
		}
	}
}

// A file has its name once it is complete; a cut one is gone, and what is there stays.
func TestNoHalfFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "march.csv")
	unfinished := map[string]bool{}
	note := func(p string) func() {
		unfinished[p] = true
		return func() { delete(unfinished, p) }
	}
	left := func() (names []string) {
		list, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range list {
			names = append(names, x.Name())
		}
		return names
	}
	f, err := Create(path, note)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("half"); err != nil {
		t.Fatal(err)
	}
	if names := left(); len(names) != 1 || names[0] == "march.csv" || !unfinished[f.Name()] {
		t.Errorf("meanwhile: %q, noted %v", names, unfinished)
	}
	f.Abort()
	if names := left(); len(names) != 0 || len(unfinished) != 0 {
		t.Errorf("after the cut: %q, noted %v", names, unfinished)
	}
	if f, err = Create(path, note); err != nil {
		t.Fatal(err)
	}
	if err := f.Commit(); err != nil || !reflect.DeepEqual(left(), []string{"march.csv"}) || len(unfinished) != 0 {
		t.Errorf("%v: %q, noted %v", err, left(), unfinished)
	}
	if _, err := Create(path, note); err == nil || !strings.Contains(err.Error(), "remove it") {
		t.Errorf("over what is there: %v", err)
	}
}
