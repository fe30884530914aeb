package deploy

import (
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
)

// mostExposed is what the unit may score at systemd-analyze security, 0 to 10, less is better. Own
// choice; 2.5 is well within what that program calls OK (below 5).
const mostExposed = 2.5

var exposure = regexp.MustCompile(`Overall exposure level[^:]*: ([0-9.]+)`)

func TestUnitIsConfined(t *testing.T) {
	analyze := tool(t, "systemd-analyze")
	unit, err := filepath.Abs("strokewise.service")
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(analyze, "security", "--offline=true", "--no-pager", unit).CombinedOutput()
	m := exposure.FindSubmatch(out)
	if m == nil {
		t.Fatalf("no score: %v: %s", err, out)
	}
	t.Logf("exposure %s", m[1])
	if got, err := strconv.ParseFloat(string(m[1]), 64); err != nil || got >= mostExposed {
		t.Errorf("exposure %s, want less than %v: %s", m[1], mostExposed, out)
	}
}
