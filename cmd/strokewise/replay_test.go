package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// leaking writes a recording of a virtual station with a leak, and its configuration.
func leaking(t *testing.T) (cfg, trace string) {
	t.Helper()
	from := station.Instant(1767225600e9)
	specs, err := rig.Plant(from)
	if err != nil {
		t.Fatal(err)
	}
	s, err := rig.Find(specs, "clamp-3")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if _, err := rig.Record(&out, s, from, 1200*station.Second); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cfg, trace = filepath.Join(dir, "c.yaml"), filepath.Join(dir, "trace.csv")
	text := "version: 1\nstations:\n  - { id: s, booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa }, tank: { volume: 30 L, relief_pressure: 1250 kPa } }\n"
	for path, b := range map[string][]byte{cfg: []byte(text), trace: out.Bytes()} {
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cfg, trace
}

// A replay tells how its figures were obtained, in words and in JSON, and leaves it out unless
// asked.
func TestReplayExplains(t *testing.T) {
	cfg, trace := leaking(t)
	code, out, errOut := call("replay", "--config", cfg, "--explain", trace)
	for _, want := range []string{"\nLeak: ", "  method: make-up\n", "  formula: ", "  source: ", "  confidence: 0.60\n", "tank volume with piping: 30 L (plate)", "common practice, no source",
		"\nEnergy stored in the tank: ", "\nState: ", "\nDuty: "} {
		if code != exitOK || !strings.Contains(out, want) {
			t.Errorf("%d: no %q in\n%.3000s%s", code, want, out, errOut)
		}
	}
	if _, out, _ := call("replay", "--config", cfg, trace); strings.Contains(out, "How each figure") {
		t.Error("explains unasked")
	}
	_, out, _ = call("replay", "--config", cfg, "--explain", "--json", trace)
	var r struct {
		Estimates map[string]struct{ Value *float64 }
		Explain   map[string]struct {
			Value           *float64
			Formula, Source string
			Inputs          []struct{ Name string }
		}
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	leak := r.Explain["leak_flow_l_min"]
	if leak.Value == nil || *leak.Value != *r.Estimates["leak_flow_l_min"].Value || leak.Formula == "" || len(leak.Inputs) < 4 {
		t.Errorf("%+v", leak)
	}
}

// A span limits what is printed, and a changed catalogue is compared with the present one.
func TestReplayOfASpanAndChanges(t *testing.T) {
	cfg, trace := leaking(t)
	changes := filepath.Join(t.TempDir(), "changes.yaml")
	if err := os.WriteFile(changes, []byte("- { name: outlet-leak, delay: 3h }\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := call("replay", "--config", cfg, "--alarms", "--from", "2026-01-01T00:02:00Z", "--to", "2026-01-01T00:12:00Z", "--changes", changes, trace)
	if code != exitOK || strings.Contains(out, "\n2026-01-01T00:01:00Z") || strings.Contains(out, "\n2026-01-01T00:12:00Z") || !strings.Contains(out, "\n2026-01-01T00:11:00Z") {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
	if !strings.Contains(out, "no longer") || !strings.Contains(out, "0 as before, 0 of them at other times; 0 new, 1 no longer; nothing was changed") {
		t.Errorf("no comparison:\n%s", out)
	}
	if err := os.WriteFile(changes, []byte("- name: outlet-leak\n  dely: 3h\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errOut := call("replay", "--config", cfg, "--changes", changes, trace); code != exitFault || !strings.Contains(errOut, "changes.yaml:2:3") {
		t.Errorf("%d %s", code, errOut)
	}
	if code, _, errOut := call("replay", "--config", cfg, "--from", "2026-01-01T00:02:00Z", "--to", "2026-01-01T00:02:00Z", trace); code != exitFault || !strings.Contains(errOut, "is not after") {
		t.Errorf("%d %s", code, errOut)
	}
}
