package prometheus

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

var rulesFile = filepath.Join("..", "..", "deploy", "prometheus.rules.yaml")

// Prometheus takes the rules that we ship, every metric that they name exists, and each has
// a runbook line.
func TestRulesThatWeShip(t *testing.T) {
	text, err := os.ReadFile(rulesFile)
	if err != nil {
		t.Fatal(err)
	}
	golden, err := os.ReadFile(filepath.Join("testdata", "metrics.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range regexp.MustCompile(`strokewise_[a-z_]+`).FindAllString(string(text), -1) {
		if !strings.Contains(string(golden), "# TYPE "+name+" ") {
			t.Errorf("there is no metric %s", name)
		}
	}
	if a, r := strings.Count(string(text), "- alert:"), strings.Count(string(text), "runbook:"); a == 0 || a != r {
		t.Errorf("%d alerts, %d runbook lines", a, r)
	}
	if out, err := exec.Command(peers.Find(t, "promtool"), "check", "rules", rulesFile).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// The rules speak when they should, and not before: promtool's own rule tests.
func TestRulesSpeak(t *testing.T) {
	abs, err := filepath.Abs(rulesFile)
	if err != nil {
		t.Fatal(err)
	}
	script := filepath.Join(t.TempDir(), "test.yaml")
	text := `rule_files: ["` + abs + `"]
evaluation_interval: 30s
tests:
  - interval: 30s
    input_series:
      - { series: 'up{job="strokewise"}', values: '1x10 0x20' }
      - { series: 'strokewise_commit_age_seconds', values: '1x10 300x20' }
      - { series: 'strokewise_mqtt_connected', values: '1x30' }
      - { series: 'strokewise_stations_quarantined{instance="a:8420", job="strokewise"}', values: '0x10 2x20' }
    alert_rule_test:
      - { eval_time: 5m, alertname: StrokewiseDown, exp_alerts: [] }
      - { eval_time: 5m, alertname: StrokewiseCommitsStand, exp_alerts: [] }
      - { eval_time: 15m, alertname: StrokewiseBrokerAway, exp_alerts: [] }
      - eval_time: 12m
        alertname: StrokewiseCommitsStand
        exp_alerts:
          - exp_labels: { severity: high }
            exp_annotations:
              summary: Nothing has been stored in the history for two minutes.
              runbook: Read /readyz and the log; free disk space; look who holds history.db locked.
      - { eval_time: 5m, alertname: StrokewiseStationNotWatched, exp_alerts: [] }
      - eval_time: 6m
        alertname: StrokewiseStationNotWatched
        exp_alerts:
          - exp_labels: { severity: medium, instance: "a:8420", job: strokewise }
            exp_annotations:
              summary: A fault of the program keeps stations from being watched; the others are watched as before.
              runbook: Treat them as unknown and read their local gauges; send their files in the folder quarantine of the data to the maintainers; an upgrade tries again.
`
	if err := os.WriteFile(script, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(peers.Find(t, "promtool"), "test", "rules", script).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
