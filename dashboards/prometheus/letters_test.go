package prometheus

import (
	"os"
	"os/exec"
	"testing"
)

// The rules about our own clock and lost refused messages fire, and only then; deploy/ has the cases.
func TestRulesOfClockAndRefused(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("STROKEWISE_REQUIRE_PEERS") == "1" {
			t.Fatal("promtool is not on PATH, and STROKEWISE_REQUIRE_PEERS=1 asks for it")
		}
		t.Skip("promtool is not on PATH: rules not played")
	}
	if out, err := exec.Command(tool, "test", "rules", "../../deploy/prometheus.rules.clock.test.yaml").CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
