package rules

import (
	"strings"
	"testing"
)

const soundAlarm = `alarms:
  - name: test
    priority: low
    condition: outlet_pressure > 900 * kPa
    message: "{outlet_pressure kPa} kPa"
    consequence: c
    causes: [c]
    check_first: c
    respond_in: c
    caution: c
    runbook: c
`

// Faults of a catalogue are told with file, line, column and the nearest name.
func TestFaultsOfACatalogue(t *testing.T) {
	if defs, err := parse("a.yaml", []byte(soundAlarm)); err != nil || len(defs) != 1 {
		t.Fatalf("%v, %v", defs, err)
	}
	for _, c := range []struct{ old, new, want string }{
		{"outlet_pressure > 900", "outlet_presure > 900", `a.yaml:4:16: "outlet_presure" is no quantity; did you mean "outlet_pressure"?`},
		{"outlet_pressure > 900 * kPa", `"fed and outlet_presure > 9 * kPa"`, `a.yaml:4:25: "outlet_presure"`},
		{"outlet_pressure > 900 * kPa", "|\n      fed and\n      outlet_presure > 9 * kPa", `a.yaml:6:1: "outlet_presure"`},
		{"outlet_pressure > 900 * kPa", "outlet_pressure > 900", "a.yaml:4:32: outlet_pressure is in Pa"},
		{"priority: low", "priority: lwo", `a.yaml:3:15: "lwo" is none of finding, low, medium, high; did you mean "low"?`},
		{"    priority: low\n", "", "a.yaml:2:5: test lacks priority"},
		{"    priority: low\n", "    severity: stop\n", "a.yaml:2:5: test lacks priority"},
		{"check_first", "check_frist", `a.yaml:8:5: unknown key "check_frist"; did you mean "check_first"?`},
		{"runbook: c", "runbook: c\n    delay: 5", `a.yaml:12:12: "5" is no time`},
		{"runbook: c", "runbook: c\n    runbook: d", "runbook"},
		{"runbook: c", "runbook: c\n    frozen_in: [chargin]", `a.yaml:12:17: "chargin" is none of`},
		{"runbook: c", "runbook: c\n    suppressed_in: [charging]", "suppression needs an end"},
		{"runbook: c", "runbook: c\n    fail_safe: true\n    explained_by: [starved]", "test is fail-safe: it cannot be suppressed or explained away"},
		{"{outlet_pressure kPa}", "{outlet_pressure L/min}", `a.yaml:5:14: outlet_pressure cannot be shown in "L/min": it is in Pa`},
		{"{outlet_pressure kPa}", "{outlet_presure kPa}", `nearest is "outlet_pressure"`},
		{"causes: [c]", "causes: c", "a.yaml:7:13: a list is wanted here"},
		{"    condition: outlet_pressure > 900 * kPa\n", "", "test needs a condition"},
	} {
		text := strings.Replace(soundAlarm, c.old, c.new, 1)
		_, err := parse("a.yaml", []byte(text))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v\nwant %s", c.new, err, c.want)
		}
	}
	// a site's own alarm may leave the priority to the method
	derived := strings.Replace(soundAlarm, "priority: low", "severity: stop\n    respond_within: 10m", 1)
	if defs, err := parse("a.yaml", []byte(derived)); err != nil || len(defs) != 1 || defs[0].Priority != Medium {
		t.Errorf("%+v, %v", defs, err)
	}
	if err := link([]Definition{{Name: "a", ExplainedBy: []string{"c"}}, {Name: "b"}, {Name: "b"}}); err == nil ||
		!strings.Contains(err.Error(), `explained by "c"`) || !strings.Contains(err.Error(), "b is defined twice") {
		t.Errorf("%v", err)
	}
}

// What guards people is not suppressed, and shelved at most for a shift or two.
func TestFailSafeAlarms(t *testing.T) {
	for _, name := range []string{PressureLeft, PressureReturned, PressureAtWork, OverPressure, "relief-lifting"} {
		i := index(name)
		if i < 0 || !catalogue[i].FailSafe || catalogue[i].Priority < Medium {
			t.Errorf("%s is not fail-safe", name)
		}
	}
	for _, name := range []string{PressureLeft, OverPressure} {
		if d := &catalogue[index(name)]; d.ShelveAtMost > 12*3600e9 {
			t.Errorf("%s can be shelved for %d ns", name, d.ShelveAtMost)
		}
	}
	for i := range catalogue {
		if d := &catalogue[i]; d.ShelveAtMost <= 0 || d.Runbook == "" {
			t.Errorf("%s lacks a limit of shelving or a runbook", d.Name)
		}
	}
}
