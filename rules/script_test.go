package rules

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The scripts that come with the catalogue, and that each alarm has one for raising, for
// staying just below, for clearing and for freezing.
func TestScripts(t *testing.T) {
	files, err := filepath.Glob("scripts/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	var all string
	played := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		all += string(text)
		outcomes, err := RunScripts(file, text)
		if err != nil {
			t.Errorf("%v", err)
		}
		for _, o := range outcomes {
			played++
			for _, f := range o.Faults {
				t.Errorf("%s: %s", o.Name, f)
			}
		}
	}
	t.Logf("%d scripts played", played)
	for _, d := range Catalogue() {
		if !strings.Contains(all, d.Name+": unacknowledged") {
			t.Errorf("no script raises %s", d.Name)
		}
		if !strings.Contains(all, d.Name+": returned-to-normal unacknowledged") && d.Name != "inspection-due" {
			t.Errorf("no script clears %s", d.Name)
		}
	}
}

// Scripts can fail, and say where.
func TestScriptsTellWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"scripts:\n  - name: a\n    series: {leak_flow: 30}\n    expect:\n      - {at: 61s, alarms: {}}\n", "x.yaml:5:9: after 1m1s outlet-leak is unacknowledged, expected normal"},
		{"scripts:\n  - name: a\n    series: {leak_flow: 1}\n    expect:\n      - {at: 61s, alarms: {outlet-leak: shelved}}\n", "expected shelved"},
		{"scripts:\n  - name: a\n    series: {leak_flw: 30}\n    expect: [{at: 1s}]\n", `x.yaml:3:14: unknown key "leak_flw"; did you mean "leak_flow"?`},
		{"scripts:\n  - name: a\n    series: {leak_flow: 30xy}\n    expect: [{at: 1s}]\n", `x.yaml:3:25: "30xy": write repetitions like 900x60`},
		{"scripts:\n  - name: a\n    series: {state: charing}\n    expect: [{at: 1s}]\n", `"charing" is no state`},
		{"scripts:\n  - name: a\n    expect: [{at: 1s, alarms: {outlet-leek: normal}}]\n", `did you mean "outlet-leak"?`},
		{"scripts:\n  - name: a\n    series: {leak_flow: 30}\n", "expects nothing"},
		{"scripts:\n  - name: a\n    alarms: [{name: outlet-leak, delay: 5}]\n    expect: [{at: 1s}]\n", `x.yaml:3:41: "5" is no time`},
		{"", "no scripts"},
		{"scripts: []\n", "no scripts"},
		{"a: [\n", "x.yaml"},
	} {
		outcomes, err := RunScripts("x.yaml", []byte(c.text))
		got := ""
		if err != nil {
			got = err.Error()
		}
		for _, o := range outcomes {
			got += strings.Join(o.Faults, "\n")
		}
		if !strings.Contains(got, c.want) {
			t.Errorf("%s\nsays %q, want %q", c.text, got, c.want)
		}
	}
}
