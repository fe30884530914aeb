package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const rehearsed = `version: 1
mqtt: { broker: embedded, topics: [{ match: "boost/{site}/{station}/{channel}" }] }
sites: [{ id: north, zone: Europe/Lisbon }]
alarms:
  - { name: outlet-leak, delay: 2m }
  - { name: mine, priority: low, condition: outlet_pressure > 100 * kPa, delay: 1m, message: high, consequence: c, causes: [c],
      check_first: c, respond_in: c, caution: c, runbook: r, stations: [a] }
stations:
  - { id: a, branch: x, booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa } }
  - { id: b, branch: x, booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa } }
`

// rehearse loads the configuration with changes.
func rehearse(t *testing.T, changes string) (*Config, error) {
	t.Helper()
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	c, err := Load(file("c.yaml", rehearsed), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c, c.Rehearse(file("changes.yaml", changes))
}

// Changes stand behind the configuration's own entries, where they reach, and the revision
// stays that of the log.
func TestRehearse(t *testing.T) {
	before, err := rehearse(t, "[]")
	if err != nil {
		t.Fatal(err)
	}
	c, err := rehearse(t, "- { name: mine, delay: 9m, stations: [a] }\n")
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{before.Stations[0].Plate.Alarms + "- name: mine\n  delay: 9m\n", before.Stations[1].Plate.Alarms} {
		s := c.Stations[i]
		if got := strings.ReplaceAll(s.Plate.Alarms, "    ", "  "); got != strings.ReplaceAll(want, "    ", "  ") {
			t.Errorf("%s: alarms\n%s\nwant\n%s", s.Plate.Key, got, want)
		}
		if s.Revision != before.Stations[i].Revision {
			t.Errorf("%s: another revision", s.Plate.Key)
		}
	}
}

// An entry that changes an own alarm where there is none would change nothing there, and
// take the other entries with it.
func TestRehearseBeyondItsReach(t *testing.T) {
	_, err := rehearse(t, "- { name: mine, delay: 9m }\n")
	if err == nil || !strings.Contains(err.Error(), "the entries that reach north/b do not fit together") || !strings.Contains(err.Error(), "mine lacks priority") {
		t.Errorf("%v", err)
	}
}
