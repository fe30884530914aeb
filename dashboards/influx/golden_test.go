package influx

import (
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) != "" {
		child()
		return
	}
	goleak.VerifyTestMain(m)
}

// What goes over the wire, byte for byte: everything known, nothing known, another
// reference and segment, a bound for a leak, odd names, alarms.
func TestGoldenLines(t *testing.T) {
	f := newFake(t, nil)
	s := openStore(t, filepath.Join(t.TempDir(), "history.db"))
	odd := station.Key{Site: "southdock", Station: "p_2"}
	back := minute(2)
	back.Segment, back.Leak.Method = 3, station.MethodBound
	bare := hourFigure(station.OutletNoise, 500)
	bare.Low, bare.High, bare.Segment = 0, 0, 3
	noBand := minute(3)
	noBand.Leak.Low, noBand.Leak.High = 0, 0
	charges := []cost.Charge{{Known: true, Inlet: minute(0).Inlet, Energy: 21_600_000, Money: 1080, Currency: "EUR", Carbon: 1_800_000, CarbonKnown: true}, {}, {Known: true, Energy: 21_600_000}}
	err := s.Commit(t.Context(), []history.Commit{{Partition: 1, Position: 1,
		Stations: []history.StationMinutes{
			{Key: press, Revision: 1, Minutes: []station.Minute{minute(0), unheard(1), back, noBand}, Charges: charges, Figures: []station.HourFigure{hourFigure(station.SupplySag, 0.12), bare}},
			{Key: odd, Revision: 1, Minutes: []station.Minute{minute(0)}, Figures: []station.HourFigure{hourFigure(station.FreeCapacity, 0.01)}},
		},
		Transitions: []rules.Transition{alarm(7, rules.Unacknowledged), alarm(7, rules.Normal)},
	}})
	if err != nil {
		t.Fatal(err)
	}
	o := options(f.URL)
	o.Branches[odd] = `Line 3, forming=a\`
	o.References = map[string]station.Reference{"southdock": station.Normal}
	o.Token = func() (string, error) { return "t0ps3cret", nil }
	_, log, stop := running(t, s, o)
	drained(t, s)
	stop()
	seen := f.seen()
	if len(seen) != 1 || log.String() != "" {
		t.Fatalf("%d requests, log %s", len(seen), log)
	}
	if q := seen[0].query; q != "/api/v2/write?bucket=boost%2Fautogen&org=plant&precision=ns" {
		t.Errorf("query %s", q)
	}
	if h := seen[0].header; h.Get("Authorization") != "Token t0ps3cret" || !strings.Contains(h.Get("User-Agent"), "strokewise") {
		t.Errorf("header %v", h)
	}
	got := strings.Join(seen[0].lines, "\n") + "\n"
	golden := filepath.Join("testdata", "lines.txt")
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("lines differ from %s (renew with -update):\n%s", golden, got)
	}
}

// A figure that is no number costs its field, not its point.
func TestNoNumberIsLeftOut(t *testing.T) {
	m := minute(0)
	m.Leak.Value, m.OutletMean = math.NaN(), station.Gauge(math.Inf(1))
	p := minutePoint(press, "", station.ANR, &m, &cost.Charge{})
	for _, f := range p.FieldList() {
		if f.Key == "leak_flow_cubic_meters_per_second" || f.Key == "outlet_pressure_mean_gauge_pascals" {
			t.Errorf("%s is %v", f.Key, f.Value)
		}
	}
	for _, tag := range p.TagList() {
		if tag.Value == "" {
			t.Errorf("tag %s is empty", tag.Key)
		}
	}
}
