package prometheus

import (
	"bytes"
	"flag"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	prom "github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// scrape gives status and body of one scrape.
func scrape(t testing.TB, h http.Handler) (int, string) {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	return w.Code, w.Body.String()
}

func exposition(t testing.TB, o Options) string {
	t.Helper()
	h, err := Handler(o, nil)
	if err != nil {
		t.Fatal(err)
	}
	code, body := scrape(t, h)
	if code != http.StatusOK {
		t.Fatalf("status %d: %s", code, body)
	}
	return body
}

func TestGoldenExposition(t *testing.T) {
	got := strings.ReplaceAll(exposition(t, options()), runtime.Version(), "GOVERSION")
	golden := filepath.Join("testdata", "metrics.txt")
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
		t.Errorf("exposition differs from %s (renew with -update):\n%s", golden, got)
	}
}

func TestLint(t *testing.T) {
	problems, err := testutil.CollectAndLint(New(options()))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// TestPromtool asks Prometheus's own tool about the exposition.
func TestPromtool(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("STROKEWISE_REQUIRE_PEERS") == "1" {
			t.Fatal("promtool is not on PATH, and STROKEWISE_REQUIRE_PEERS=1 asks for it")
		}
		t.Skip("promtool is not on PATH: exposition not checked against it")
	}
	cmd := exec.Command(tool, "check", "metrics")
	cmd.Stdin = strings.NewReader(exposition(t, options()))
	out, err := cmd.CombinedOutput()
	if err != nil || len(bytes.TrimSpace(out)) != 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
}

func TestEveryFamilyIsInTheGoldenFile(t *testing.T) {
	body := exposition(t, options())
	for _, f := range families {
		_, rest, _ := strings.Cut(f.desc.String(), `fqName: "`)
		name, _, _ := strings.Cut(rest, `"`)
		if !strings.Contains(body, "\n"+name) {
			t.Errorf("no series of %s in the fixture", name)
		}
	}
}

func TestNotReady(t *testing.T) {
	o := options()
	o.Board.SetReady(false)
	h, err := Handler(o, nil)
	if err != nil {
		t.Fatal(err)
	}
	code, body := scrape(t, h)
	if code != http.StatusServiceUnavailable || !strings.Contains(body, "restored") {
		t.Errorf("status %d: %s", code, body)
	}
	if strings.Contains(body, "strokewise_strokes_total") {
		t.Error("totals are shown before the history is restored")
	}
	o.Board.SetReady(true)
	if code, body = scrape(t, h); code != http.StatusOK || !strings.Contains(body, "strokewise_strokes_total{") {
		t.Errorf("after restoring: status %d", code)
	}
}

// lines gives the exposition of one station.
func lines(t *testing.T, s board.Station, ref station.Reference) string {
	t.Helper()
	b := board.New()
	b.Put(s)
	b.SetReady(true)
	return exposition(t, Options{Board: b, References: map[string]station.Reference{s.Plate.Key.Site: ref}})
}

func TestUnknownIsLeftOut(t *testing.T) {
	body := lines(t, unheard(), station.ANR)
	for _, name := range []string{"strokes_total", "stroke_rate", "duty_ratio", "state_active", "inlet_air", "inlet_pressure",
		"outlet_pressure", "leak_flow", "supply_sag", "stored_energy", "lag_seconds", "device_clock"} {
		if strings.Contains(body, "strokewise_"+name) {
			t.Errorf("%s is shown for a station never heard", name)
		}
	}
	if !strings.Contains(body, `strokewise_state_seconds_total{branch="",site="southdock",state="residual",station="new"} 0`) {
		t.Errorf("no state seconds:\n%s", body)
	}
}

func TestSilentStationShowsNoPresent(t *testing.T) {
	for _, c := range []struct {
		cadence station.Cadence
		shown   bool
	}{{station.Periodic, false}, {station.OnChange, true}} {
		s := press()
		s.SilentSince, s.Plate.Cadence = noon, c.cadence
		body := lines(t, s, station.ANR)
		for _, name := range []string{"outlet_pressure_pascals{", "inlet_pressure_pascals{", "stroke_rate_hertz{", "state_active{", "stored_energy_joules{",
			"leak_flow_cubic_meters_per_second{", "duty_ratio{", "volumetric_efficiency_ratio{", "lag_seconds{", "device_clock_offset_seconds{"} {
			if strings.Contains(body, "strokewise_"+name) != c.shown {
				t.Errorf("cadence %v: %s shown: %v", c.cadence, name, !c.shown)
			}
		}
		if !strings.Contains(body, `strokewise_silent{branch="forming",site="northdock",station="press-4"} 1`) {
			t.Error("not told to be silent")
		}
		for _, name := range []string{"strokes_total{", "inlet_air_cubic_meters_total{", "alarm_active{", "last_sample_timestamp_seconds{", "station_info{"} {
			if !strings.Contains(body, "strokewise_"+name) {
				t.Errorf("cadence %v: no %s", c.cadence, name)
			}
		}
	}
}

// The factor is (100/101.325)(273.15/293.15), ISO 8778 and DIN 1343 by the ideal gas law.
func TestAirAtTheSitesReference(t *testing.T) {
	body := lines(t, press(), station.ANR)
	if !strings.Contains(body, `strokewise_inlet_air_cubic_meters_total{branch="forming",reference="anr",site="northdock",station="press-4"} 2000`+"\n") {
		t.Errorf("no 2000 m³ ANR:\n%s", body)
	}
	body = lines(t, press(), station.Normal)
	if !strings.Contains(body, `inlet_air_cubic_meters_total{branch="forming",reference="normal",site="northdock",station="press-4"} 1839.18`) {
		t.Errorf("no 1839.2 m³ normal:\n%s", body)
	}
	if strings.Contains(body, `reference="anr"`) {
		t.Error("a series is still at ANR")
	}
}

// A bound is no value.
func TestBoundsAreLeftOut(t *testing.T) {
	s := press()
	s.Status.Estimates[station.SupplySag].Method = station.MethodBound
	if strings.Contains(lines(t, s, station.ANR), "strokewise_supply_sag_ratio") {
		t.Error("a bound is shown as a value")
	}
}

func TestHostileNames(t *testing.T) {
	s := press()
	s.Plate.Key.Station = "bad\xff\"\n} 1\nstrokewise_fake 1"
	s.Alarms = append(s.Alarms, s.Alarms[0]) // the same series twice
	body := lines(t, s, station.ANR)
	if strings.Contains(body, "\nstrokewise_fake") {
		t.Error("a name writes its own series")
	}
	if !strings.Contains(body, "strokewise_strokes_total{") {
		t.Error("one bad series costs the others")
	}
}

func TestPedanticRegistry(t *testing.T) {
	r := prom.NewPedanticRegistry()
	r.MustRegister(New(options()))
	if _, err := r.Gather(); err != nil {
		t.Error(err)
	}
}
