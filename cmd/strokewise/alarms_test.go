package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestAlarmsCommand(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"alarms"}, exitOK, "over-pressure       high     outlet_pressure > pressure_limit"},
		{[]string{"alarms", "list"}, exitOK, "pressure-left       high     (code)"},
		{[]string{"alarms", "explain", "outlet-low"}, exitOK, "suppressed in  charging, for 15 min at most"},
		{[]string{"alarms", "explain", "pressure-left"}, exitOK, "shelved        12 h at most"},
		{[]string{"alarms", "explain", "presure-left"}, exitFault, `did you mean "pressure-left"?`},
		{[]string{"alarms", "quantities"}, exitOK, "outlet_pressure "},
		{[]string{"alarms", "test", "../../rules/scripts/outlet.yaml", "../../rules/scripts/life.yaml"}, exitOK, "scripts went as expected"},
		{[]string{"alarms", "test", "nowhere.yaml"}, exitFault, "cannot read rule scripts"},
	} {
		code, out, errOut := call(c.args...)
		if code != c.code || !strings.Contains(out+errOut, c.want) {
			t.Errorf("%v: %d\n%s%s\nwant %s", c.args, code, out, errOut, c.want)
		}
	}
}

// A script that fails says where, and the command's exit code tells.
func TestAlarmsTestFails(t *testing.T) {
	file := filepath.Join(t.TempDir(), "mine.yaml")
	text := "scripts:\n  - name: mine\n    course: [{leak_flow: 30}]\n    expect: [{at: 90s, alarms: {}}]\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := call("alarms", "test", file)
	if code != exitFault || !strings.Contains(out, "mine.yaml:4:14: after 1m30s outlet-leak is unacknowledged, expected normal") ||
		!strings.Contains(errOut, "1 of 1 scripts") {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
}
