package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"strokewise/collector/playback"
)

func selfPath() string { return os.Args[0] }

// call runs a command line in the process.
func call(args ...string) (code int, out, errOut string) {
	var o, e bytes.Buffer
	code = execute(context.Background(), args, &o, &e)
	return code, o.String(), e.String()
}

const oneStation = `stations:
  - id: bench-1
    booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa }
    tank: { volume: 30 L, relief_pressure: 1250 kPa }
`

// recording writes a shipped recording to a file.
func recording(t testing.TB, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "collector", "playback", "recordings", name+".csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), name+".csv.gz")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestReplayTable(t *testing.T) {
	code, out, errOut := call("replay", "--config", write(t, "c.yaml", oneStation), "--alarms", recording(t, "shutdown"))
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	for _, want := range []string{"strokes", "53", "L anr", "pressure-left", "not isolation", "kPa gauge"} {
		if !strings.Contains(out, want) {
			t.Errorf("the table lacks %q:\n%s", want, out)
		}
	}
}

func TestReplayJSON(t *testing.T) {
	code, out, errOut := call("replay", "--config", write(t, "c.yaml", oneStation), "--station", "bench-1", "--json", "--alarms", "--strokes", recording(t, "shutdown"))
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errOut)
	}
	var r map[string]any
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	totals := r["totals"].(map[string]any)
	if r["schema"] != 1.0 || r["reference"] != "anr" || int(totals["strokes"].(float64)) != len(r["strokes"].([]any)) {
		t.Errorf("got %v", totals)
	}
	if n := totals["strokes"].(float64); n < 51 || n > 55 { // the model made 53, the counter shows cycles
		t.Errorf("%g strokes", n)
	}
	var seconds float64
	for _, s := range []string{"stroking", "holding", "starved", "charging", "off", "venting", "residual", "blind"} {
		seconds += totals[s+"_s"].(float64)
	}
	rs, _ := playback.Recordings()
	if _, length := rs[4].Span(); seconds < float64(length)/1e9-0.2 || seconds > float64(length)/1e9 {
		t.Errorf("the states add up to %g s of %g", seconds, float64(length)/1e9)
	}
	for _, k := range []string{"leak_flow_l_min", "leak_conductance_l_s_bar", "supply_conductance_l_s_bar", "supply_sag_ratio", "volumetric_efficiency_ratio", "stroke_unevenness_ratio", "pulsation_ratio"} {
		e, ok := r["estimates"].(map[string]any)[k].(map[string]any)
		if !ok || e["value"] == nil && e["reason"] == nil {
			t.Errorf("%s is neither known nor has a reason: %v", k, e)
		}
	}
	alarms := r["alarms"].([]any)
	if len(alarms) != 1 || alarms[0].(map[string]any)["alarm"] != "pressure-left" || alarms[0].(map[string]any)["cleared"] != nil {
		t.Errorf("alarms %v", alarms)
	}
}

func TestCheckReportsAllFaultsAtOnce(t *testing.T) {
	path := write(t, "bad.yaml", `version: 1
mqtt: { broker: tcp://127.0.0.1:1883, topics: [{ match: "boost/{sation}" }] }
stations:
  - id: press-4
    booster: { drive_bore: 63, boost_bore: 63 mm, stroke: 60 mm, rod: 16 mm }
    tank: { volume: 20 l/min }
    tnak: { }
`)
	code, _, errOut := call("check", "--config", path)
	if code != exitFault {
		t.Fatalf("exit %d", code)
	}
	for _, want := range []string{":2: mqtt.topics[0]", ":5: stations[0].booster.drive_bore", ":6: stations[0].tank.volume", ":7: stations[0].tnak", "example: "} {
		if !strings.Contains(errOut, want) {
			t.Errorf("no fault %q in:\n%s", want, errOut)
		}
	}
}

func TestCheckOfAGoodFile(t *testing.T) {
	code, out, errOut := call("check", "--config", filepath.Join("..", "..", "deploy", "strokewise.example.yaml"))
	if code != 0 || !strings.Contains(out, "no fault found") {
		t.Errorf("exit %d: %s%s", code, out, errOut)
	}
}

// Plates whose pressures should not go together are what a plant may have: they are taken, and said to be odd.
func TestCheckTakesOddPlates(t *testing.T) {
	path := write(t, "odd.yaml", `version: 1
mqtt: { broker: tcp://127.0.0.1:1883, topics: [{ match: "boost/{station}/{channel}" }] }
sites: [{ id: north }]
stations:
  - { id: a, booster: { set_pressure: 1200 kPa }, tank: { relief_pressure: 1100 kPa, ps: 1150 kPa }, required_pressure: 1250 kPa }
`)
	code, out, errOut := call("check", "--config", path)
	if code != 0 || strings.Count(out, "odd, but taken: ") != 3 || !strings.Contains(out, "no fault found") {
		t.Errorf("exit %d: %s%s", code, out, errOut)
	}
	for _, want := range []string{"tank.relief_pressure: is not above booster.set_pressure (line 5): the valve lifts before", "tank.ps: is below", "required_pressure: is above"} {
		if !strings.Contains(out, want) {
			t.Errorf("no warning %q in:\n%s", want, out)
		}
	}
}

func TestVersionAndUsage(t *testing.T) {
	for _, arg := range []string{"version", "--version"} {
		if code, out, _ := call(arg); code != 0 || !strings.HasPrefix(out, "strokewise "+version()+", commit ") || !strings.Contains(out, runtime.Version()) {
			t.Errorf("%s: exit %d: %s", arg, code, out)
		}
	}
	if code, out, _ := call("--help"); code != 0 || !strings.Contains(out, "no safety function") {
		t.Errorf("exit %d: %s", code, out)
	}
	if code, _, errOut := call("runn"); code != exitUsage || !strings.Contains(errOut, "--help") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut := call("replay", "--config", write(t, "c.yaml", oneStation), "--station", "other", recording(t, "fill")); code != exitFault || !strings.Contains(errOut, "site/bench-1") {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut := call("replay", "--config", write(t, "c.yaml", oneStation), write(t, "t.csv", "time,inlet\n")); code != exitFault || !strings.Contains(errOut, "t.csv:1: column inlet") {
		t.Errorf("exit %d: %s", code, errOut)
	}
}

// BenchmarkReplay replays an 8 h, 20 Hz trace of three channels: the shipped recordings
// one after the other.
func BenchmarkReplay(b *testing.B) {
	path := eightHours(b)
	cfg := write(b, "c.yaml", oneStation)
	for b.Loop() {
		if code, _, errOut := call("replay", "--config", cfg, "--json", path); code != 0 {
			b.Fatal(errOut)
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "s/8h")
}

// execute runs one command line.
func execute(ctx context.Context, args []string, out, errOut io.Writer) int {
	return executeIn(ctx, nil, args, out, errOut)
}
