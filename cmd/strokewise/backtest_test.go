package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// leakPast gives a configuration whose data folder a live run with a leak has left.
func leakPast(t *testing.T) (cfg string) {
	t.Helper()
	const start = station.Instant(1767225600e9) // 2026-01-01T00:00:00Z
	at := func(s int64) station.Instant { return start.Add(s * station.Second) }
	specs, err := rig.Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, "clamp-3")
	if err != nil {
		t.Fatal(err)
	}
	spec.Sensors.Rate = 20
	spec.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: 2.3e-9, From: at(1900), Until: at(3600)}}
	cfg = write(t, "strokewise.yaml", fmt.Sprintf(`version: 1
mqtt: { broker: "tcp://127.0.0.1:1", topics: [{ match: "boost/{site}/{station}/{channel}" }] }
data: %s
log: { max_bytes: 1 GB }
sites: [{ id: northdock, zone: Europe/Lisbon }]
alarms: [{ name: outlet-leak, delay: 90s }]
stations:
  - id: clamp-3
    branch: clamping
    booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa }
    tank: { volume: %g L, relief_pressure: 1250 kPa }
`, t.TempDir(), spec.Plate.TankVolume*1e3))
	c, err := load(cfg, false)
	if err != nil {
		t.Fatal(err)
	}
	fillPast(t, c, spec, start)
	return cfg
}

// fillPast leaves in the data folder what a live run of 90 min does.
func fillPast(t *testing.T, c *config.Config, spec rig.Spec, start station.Instant) {
	t.Helper()
	at := func(s int64) station.Instant { return start.Add(s * station.Second) }
	s, data := c.Stations[0], c.Data
	k := s.Plate.Key
	log, err := samplelog.Open(t.Context(), samplelog.Options{Dir: filepath.Join(data, "log"), MaxBytes: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	store, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	v, u := rig.New(spec, start, 0), pipeline.New(s.Plate, s.Revision)
	done := history.Commit{Partition: k.Partition()}
	for sec := int64(10); sec <= 5400; sec += 10 {
		r := station.Record{Key: k, Arrival: at(sec), Blocks: v.Until(at(sec))}
		if sec == 10 { // with the plate, also what the alarms are
			e := station.Record{Key: k, Arrival: start, Epoch: &station.Epoch{Revision: s.Revision, Plate: s.Plate}}
			if _, err := log.Append(t.Context(), k.Partition(), []station.Record{e}); err != nil {
				t.Fatal(err)
			}
			u.Epoch(e.Epoch, start)
		}
		if done.Position, err = log.Append(t.Context(), k.Partition(), []station.Record{r}); err != nil {
			t.Fatal(err)
		}
		u.Samples(r.Blocks, r.Arrival)
	}
	done.Transitions = u.Take().Transitions
	told := slices.DeleteFunc(slices.Clone(done.Transitions), func(t rules.Transition) bool { return t.Quiet() })
	if n := len(told); n != 2 || told[0].Alarm != rules.OutletLeak {
		t.Fatalf("%d transitions, want a leak's raise and return: %+v", n, told)
	}
	if err := store.Commit(t.Context(), []history.Commit{done}); err != nil {
		t.Fatal(err)
	}
}

// What the command prints, word for word.
func TestAlarmsBacktest(t *testing.T) {
	cfg := leakPast(t)
	const span = "northdock/clamp-3  2026-01-01T00:30:00Z to 2026-01-01T01:30:00Z  0.04 days\n\n"
	for _, c := range []struct{ name, changes, want string }{
		{"as it is", "", span + `station            alarm                   raised                ended
northdock/clamp-3  outlet-leak  as before  2026-01-01T00:36:30Z  2026-01-01T01:04:29Z

alarm        was  would be  was, a day  would be, a day  change, a day
outlet-leak  1    1         24.00       24.00            +0.00
all          1    1         24.00       24.00            +0.00
no difference: 1 as before; nothing was changed
`},
		{"no longer", "- { name: outlet-leak, delay: 1h }\n", span + `station            alarm                   raised                ended
northdock/clamp-3  outlet-leak  no longer  2026-01-01T00:36:30Z  2026-01-01T01:04:29Z

alarm        was  would be  was, a day  would be, a day  change, a day
outlet-leak  1    0         24.00       0.00             -24.00
all          1    0         24.00       0.00             -24.00
0 as before, 0 of them at other times; 0 new, 1 no longer; nothing was changed
`},
		{"new", "alarms:\n  - { name: pulsation, condition: outlet_pressure > 100 * kPa, clear: outlet_pressure < 50 * kPa, delay: 45m, stations: [clamp-3] }\n", span + `station            alarm                   raised                ended
northdock/clamp-3  outlet-leak  as before  2026-01-01T00:36:30Z  2026-01-01T01:04:29Z
northdock/clamp-3  pulsation    new        2026-01-01T00:45:01Z  still open

alarm        was  would be  was, a day  would be, a day  change, a day
outlet-leak  1    1         24.00       24.00            +0.00
pulsation    0    1         0.00        24.00            +24.00
all          1    2         24.00       48.00            +24.00
1 as before, 0 of them at other times; 1 new, 0 no longer; nothing was changed
`},
		{"later", "- { name: outlet-leak, delay: 3m }\n", span + `station            alarm                   raised                                        ended
northdock/clamp-3  outlet-leak  as before  2026-01-01T00:36:30Z -> 2026-01-01T00:38:00Z  2026-01-01T01:04:29Z

alarm        was  would be  was, a day  would be, a day  change, a day
outlet-leak  1    1         24.00       24.00            +0.00
all          1    1         24.00       24.00            +0.00
1 as before, 1 of them at other times; 0 new, 0 no longer; nothing was changed
`},
	} {
		args := []string{"alarms", "backtest", "--config", cfg}
		if c.changes != "" {
			args = append(args, "--changes", write(t, "changes.yaml", c.changes))
		}
		if code, out, errOut := call(args...); code != exitOK || out != c.want {
			t.Errorf("%s: code %d, %s\n%s\nwant\n%s", c.name, code, errOut, out, c.want)
		}
	}
	code, out, _ := call("alarms", "backtest", "--config", cfg, "--station", "clamp-3", "--to", "2026-01-01T00:20:00Z")
	if code != exitOK || !strings.Contains(out, "no more than half an hour of warm-up") || !strings.HasSuffix(out, "nothing was compared\n") {
		t.Errorf("within the warm-up: %d, %s", code, out)
	}
}

// What is wrong is said with its place and what to do.
func TestAlarmsBacktestFaults(t *testing.T) {
	cfg := write(t, "c.yaml", "version: 1\ndata: "+t.TempDir()+"\nmqtt: { broker: embedded, topics: [{ match: \"boost/{site}/{station}/{channel}\" }] }\nalarms: [{ name: outlet-leak, delay: 2m }]\nsites: [{ id: north }]\n"+oneStation)
	for _, c := range []struct {
		changes, want string
		more          []string
	}{
		{changes: "- { name: outlet-leak,\n    dellay: 1h }\n", want: `changes.yaml:2:5: unknown key "dellay"; did you mean "delay"?`},
		{changes: "- { name: outlet-leak, condition: leak_flo > 1 }\n", want: "changes.yaml:1:35: "},
		{changes: "- name: outlet-leak\n  delay: [\n", want: "changes.yaml: yaml: line "},
		{changes: "", want: "changes.yaml:1:1: no alarms"},
		{changes: "name: outlet-leak\n", want: "changes.yaml:1:1: a list of alarms is wanted here"},
		{changes: "- { name: outlet-leak, delay: 1h, stations: [bench-7] }\n", want: `no station has station "bench-7"`},
		{changes: "- { name: pressure-left, delay: 1h }\n", want: "changes.yaml:1:33: pressure-left guards people"},
		{changes: "- { name: outlet-leak, delay: 1h }\n", want: "there is no history to compare with"},
		{changes: "- { name: outlet-leak, delay: 1h }\n", more: []string{"--from", "2026-01-02T00:00:00Z", "--to", "2026-01-01T00:00:00Z"}, want: "is not after --from"},
	} {
		args := append([]string{"alarms", "backtest", "--config", cfg, "--changes", write(t, "changes.yaml", c.changes)}, c.more...)
		if code, _, errOut := call(args...); code != exitFault || !strings.Contains(errOut, c.want) {
			t.Errorf("%q: code %d, %s\nwant %s", c.changes, code, errOut, c.want)
		}
	}
	past := leakPast(t)
	if code, _, errOut := call("alarms", "backtest", "--config", past, "--station", "nowhere"); code != exitFault || !strings.Contains(errOut, `cannot find station "nowhere"`) {
		t.Errorf("code %d, %s", code, errOut)
	}
	c, err := load(past, false)
	if err != nil {
		t.Fatal(err)
	}
	log, err := samplelog.Open(t.Context(), samplelog.Options{Dir: filepath.Join(c.Data, "log"), MaxBytes: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	if code, _, errOut := call("alarms", "backtest", "--config", past); code != exitFault || !strings.Contains(errOut, "stop the program or take a copy") {
		t.Errorf("while the log is in use: code %d, %s", code, errOut)
	}
}
