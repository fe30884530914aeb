package rules

import (
	"bytes"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const ownAlarms = `
- { name: outlet-leak, priority: high, delay: 5s, frozen_in: [blind] }
- name: outlet-falling
  priority: medium
  condition: fed and outlet_pressure < 0.9 * set_pressure
  delay: 20s
  explained_by: [outlet-leak]
  message: "{outlet_pressure kPa} kPa"
  consequence: c
  causes: [c]
  check_first: c
  respond_in: c
  caution: c
  runbook: c
`

func policyText(t *testing.T, text string) string {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	p, err := ReadPolicy("a.yaml", doc.Content[0])
	if err != nil {
		t.Fatal(err)
	}
	return p.For(station.Key{Site: "a", Station: "b"}, "")
}

// What a site changes holds from the plate's change on, survives a snapshot, and ends with it.
func TestPolicy(t *testing.T) {
	plate := station.Plate{Alarms: policyText(t, ownAlarms)}
	g := newStage(plate)
	low := func(_ int, s *station.Status) {
		s.State, s.Outlet, s.Estimates[station.SetPressure] = station.Stroking, known(700e3), known(800e3)
	}
	g.play(10, leak(30))
	if n := len(g.got); n != 1 || g.got[0].Alarm != OutletLeak || g.got[0].Priority != High || g.got[0].Raised != t0.Add(5*station.Second) {
		t.Fatalf("%+v", g.got)
	}
	g.play(5, leak(0))
	g.play(21, low)
	if g.count("outlet-falling", Unacknowledged) != 1 {
		t.Fatalf("%+v", g.got)
	}
	var buf bytes.Buffer
	if err := g.v.Save(&buf); err != nil {
		t.Fatal(err)
	}
	same := plate
	v, err := Restore(bytes.NewReader(buf.Bytes()), &same, func(t *Transition) { g.got = append(g.got, *t) })
	if err != nil {
		t.Fatal(err)
	}
	g.v = v
	g.play(5, low)
	if n := g.count("outlet-falling", Unacknowledged); n != 1 {
		t.Errorf("raised %d times with the snapshot", n)
	}
	if err := v.Command(&station.Command{Kind: "note", Alarm: "outlet-falling", By: "Ada", Note: "x"}, g.now); err != nil {
		t.Error(err)
	}
	same.Alarms = ""
	g.play(1, low)
	if last := g.got[len(g.got)-1]; last.Alarm != "outlet-falling" || last.To != Normal || len(v.set) != len(catalogue) {
		t.Errorf("an alarm that was taken out of the configuration stands: %+v", last)
	}
	if catalogue[index(OutletLeak)].Priority != Low || len(catalogue[index(OutletLeak)].FrozenIn) != 3 {
		t.Error("a site's change has changed the catalogue")
	}
}

// A text that this program does not understand changes nothing.
func TestPolicyOfAnotherProgram(t *testing.T) {
	for _, text := range []string{"- { name: outlet-leak, dely: 5s }", "[", "x", "- {}"} {
		v := NewEvaluator(&station.Plate{Alarms: text}, func(*Transition) {})
		if len(v.set) != len(catalogue) || v.set[index(OutletLeak)].DelayNs != catalogue[index(OutletLeak)].DelayNs {
			t.Errorf("%q is taken", text)
		}
	}
}

// No site can weaken an alarm that guards people; raising it is fine. (over-pressure: high, severity
// injury, 10 min, 12 h; signal-lost of a charged station: medium.)
func TestPolicyWeakensNoGuard(t *testing.T) {
	for text, want := range map[string]string{
		"{ name: pressure-at-work, priority: finding }":                                       "pressure-at-work guards people: its priority",
		"{ name: pressure-at-work, priority: medium, sites: [a] }":                            "pressure-at-work guards people: its priority",
		"{ name: over-pressure, severity: cost }":                                             "over-pressure guards people: its priority",
		"{ name: pressure-returned, respond_within: 72h }":                                    "pressure-returned guards people: its priority",
		"{ name: signal-lost, priority_charged: finding }":                                    "signal-lost of a charged station guards people",
		"{ name: pressure-at-work, delay: 1s }":                                               "cannot be delayed",
		"{ name: pressure-at-work, frozen_in: [off] }":                                        "cannot be delayed or frozen",
		"{ name: pressure-at-work, suppressed_in: [off], suppress_for: 1h }":                  "cannot be suppressed",
		"{ name: pressure-at-work, explained_by: [header-low] }":                              "cannot be suppressed or explained",
		"{ name: pressure-at-work, shelve_at_most: 1h }":                                      "not for longer",
		"{ name: pressure-at-work, remind: 0s }":                                              "sooner, not later",
		"{ name: pressure-at-work, remind_acknowledged: 24h }":                                "sooner, not later",
		"{ name: pressure-at-work, condition: blind }":                                        "decided by code",
		"{ name: over-pressure, clear: fed }":                                                 "set its limit in the plate data",
		"{ name: over-pressure, fail_safe: false }":                                           "stays fail-safe",
		"{ name: work-time-over, priority: high, severity: injury, respond_within: 10m }":     "",
		"{ name: signal-lost, priority: medium, priority_charged: high }":                     "",
		"{ name: relief-lifting, priority: high, shelve_at_most: 1h, remind: 1h, delay: 5s }": "",
	} {
		var doc yaml.Node
		if err := yaml.Unmarshal([]byte("- "+text), &doc); err != nil {
			t.Fatal(err)
		}
		_, err := ReadPolicy("a", doc.Content[0])
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%s: %v", text, err)
		}
	}
}
