package prometheus

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"strokewise/deploy/peers"
)

// The rule about unreadable entries fires for an hour after one, with the labels that a server adds, and not
// for what was counted before.
func TestRuleOfUnreadableEntries(t *testing.T) {
	abs, err := filepath.Abs(rulesFile)
	if err != nil {
		t.Fatal(err)
	}
	const fires = `'count by (alertname, priority, instance) (ALERTS{alertname="StrokewiseLogUnreadable", alertstate="firing"})'`
	script := filepath.Join(t.TempDir(), "test.yaml")
	text := `rule_files: ["` + abs + `"]
evaluation_interval: 30s
tests:
  - interval: 30s
    input_series:
      - { series: 'strokewise_log_unreadable_total{job="strokewise", instance="monitor:8420"}', values: '3x20 4x300' }
    promql_expr_test:
      - { eval_time: 9m, expr: ` + fires + `, exp_samples: [] }
      - { eval_time: 15m, expr: ` + fires + `, exp_samples: [{ labels: '{alertname="StrokewiseLogUnreadable", priority="medium", instance="monitor:8420"}', value: 1 }] }
      - { eval_time: 80m, expr: ` + fires + `, exp_samples: [] }
`
	if err := os.WriteFile(script, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(peers.Find(t, "promtool"), "test", "rules", script).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
