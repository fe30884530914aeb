package main

import (
	"encoding/json"
	"path/filepath"
	"testing"
)

// checkedBy runs check --json and reads what it prints.
func checkedBy(t *testing.T, path string, want int) checked {
	t.Helper()
	code, out, errOut := call("check", "--json", "--config", path)
	var c checked
	if err := json.Unmarshal([]byte(out), &c); err != nil || code != want || c.File != path {
		t.Fatalf("exit %d, %v: %s%s", code, err, out, errOut)
	}
	return c
}

func TestCheckAsJSON(t *testing.T) {
	c := checkedBy(t, filepath.Join("..", "..", "deploy", "strokewise.example.yaml"), 0)
	if !c.Valid || len(c.Faults) > 0 || c.Sites != 2 || c.Stations != 4 { // as that file says in its first lines
		t.Errorf("%+v", c)
	}
	c = checkedBy(t, write(t, "bad.yaml", `version: 1
mqtt: { broker: "tcp://127.0.0.1:1883", topics: [{ match: "boost/{station}/{channel}" }] }
sites: [{ id: north }]
stations:
  - id: a
    booster: { drive_bore: 63 bananas }
    tnak: { }
`), exitFault)
	want := []checkedFault{{Line: 6, Key: "stations[0].booster.drive_bore"}, {Line: 7, Key: "stations[0].tnak"}}
	if c.Valid || len(c.Faults) != len(want) {
		t.Fatalf("%+v", c)
	}
	for i, f := range c.Faults {
		if f.Line != want[i].Line || f.Key != want[i].Key || f.Problem == "" || f.Expected == "" {
			t.Errorf("%+v, want %+v", f, want[i])
		}
	}
	c = checkedBy(t, write(t, "odd.yaml", `version: 1
mqtt: { broker: "tcp://127.0.0.1:1883", topics: [{ match: "boost/{station}/{channel}" }] }
sites: [{ id: north }]
stations: [{ id: a, booster: { set_pressure: 1200 kPa }, tank: { relief_pressure: 1100 kPa } }]
`), 0)
	if !c.Valid || len(c.Warnings) != 1 || c.Warnings[0].Key != "stations[0].tank.relief_pressure" {
		t.Errorf("%+v", c)
	}
	if c = checkedBy(t, "none.yaml", exitFault); c.Valid || len(c.Faults) != 1 {
		t.Errorf("%+v", c)
	}
}
