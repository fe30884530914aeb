package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const alarmsHead = `version: 1
mqtt: { broker: "tcp://127.0.0.1:1883", topics: [{ match: "boost/{site}/{station}/{channel}" }] }
sites: [{ id: north }, { id: south }]
stations:
  - { id: a, site: north, branch: forming }
  - { id: b, site: south }
`

// Entries reach the stations that they are limited to; the others keep their revision.
func TestAlarmsReachStations(t *testing.T) {
	plain, err := Parse([]byte(alarmsHead), "x.yaml", Options{})
	if err != nil {
		t.Fatal(err)
	}
	text := alarmsHead + `alarms:
  - { name: outlet-leak, delay: 5m, sites: [north] }
  - { name: starved, priority: high, branches: [forming] }
`
	c, err := Parse([]byte(text), "x.yaml", Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, b := c.Stations[0], c.Stations[1]
	if !strings.Contains(a.Plate.Alarms, "delay: 5m") || !strings.Contains(a.Plate.Alarms, "starved") || a.Revision == plain.Stations[0].Revision {
		t.Errorf("%q, %s", a.Plate.Alarms, a.Revision)
	}
	if b.Plate.Alarms != "" || b.Revision != plain.Stations[1].Revision {
		t.Errorf("%q, %s", b.Plate.Alarms, b.Revision)
	}
	dir := t.TempDir()
	list := strings.Replace(text, alarmsHead, "", 1)
	if err := os.WriteFile(filepath.Join(dir, "mine.yaml"), []byte(list), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := Parse([]byte(alarmsHead+"alarms: mine.yaml\n"), filepath.Join(dir, "x.yaml"), Options{})
	if err != nil || f.Stations[0].Plate.Alarms != a.Plate.Alarms || f.Stations[0].Revision != a.Revision {
		t.Errorf("from a file: %v", err)
	}
}

// Faults in the list are told with the line of the file that they are in.
func TestFaultsOfAlarms(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "bad.yaml"), []byte("alarms:\n  - name: outlet-leak\n    condition: leak_flw > 1 * L_min\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ text, want string }{
		{"alarms:\n  - { name: outlet-leak, dely: 5m }\n", `x.yaml:8: alarms: column 26: unknown key "dely"; did you mean "delay"?`},
		{"alarms:\n  - { name: outlet-leek, delay: 5m }\n", "x.yaml:8: alarms: column 5: outlet-leek lacks priority"},
		{"alarms: bad.yaml\n", `bad.yaml:3: alarms: column 16: "leak_flw" is no quantity; did you mean "leak_flow"?`},
		{"alarms: none.yaml\n", "x.yaml:7: alarms: cannot be read"},
		{"alarms: { name: a }\n", "a list of alarms is wanted here"},
		{"alarms:\n  - { name: pressure-left, shelve_at_most: 24h }\n", "can be shelved for less, not for longer"},
		{"alarms:\n  - { name: over-pressure, suppressed_in: [charging], suppress_for: 1m }\n", "cannot be suppressed"},
		{"alarms:\n  - { name: over-pressure, condition: fed }\n", "guards people: set its limit in the plate data"},
		{"alarms:\n  - { name: over-pressure, fail_safe: false }\n", "stays fail-safe"},
		{"alarms:\n  - { name: over-pressure, delay: 1h }\n", "cannot be delayed"},
		{"alarms:\n  - { name: signal-lost, condition: fed }\n", "decided by code"},
	} {
		_, err := Parse([]byte(alarmsHead+c.text), filepath.Join(dir, "x.yaml"), Options{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v\nwant %s", c.text, err, c.want)
		}
	}
	c, err := Parse([]byte(alarmsHead+"alarms:\n  - { name: starved, delay: 5m, sites: [nroth] }\n"), "x.yaml", Options{})
	if err != nil || len(c.Warnings) != 1 || !strings.Contains(c.Warnings[0].Error(), `no station has site "nroth"`) {
		t.Errorf("%v, %v", c.Warnings, err)
	}
}

// An entry that reaches stations without the own alarm that it changes is refused: an
// evaluator there would drop all of the site's entries.
func TestEntriesThatDoNotFitTogether(t *testing.T) {
	for entry, want := range map[string]string{
		"  - { name: mine, delay: 9m }\n":                "alarms: the entries that reach station north/b do not fit together",
		"  - { name: mine, delay: 9m, stations: [a] }\n": "",
	} {
		text := strings.Replace(rehearsed, "stations:\n  - { id: a", entry+"stations:\n  - { id: a", 1)
		_, err := Parse([]byte(text), "x.yaml", Options{})
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "mine lacks priority")) {
			t.Errorf("%s: %v", entry, err)
		}
	}
}
