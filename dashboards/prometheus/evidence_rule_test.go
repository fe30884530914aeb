package prometheus

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"strokewise/deploy/peers"
)

// The rules on the sample log, with the labels that a server adds: evidence that is dropped early, and
// a log that takes nothing. A log that sits at its bound by design raises neither.
func TestRulesOnTheLogSpeak(t *testing.T) {
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
      - { series: 'strokewise_log_entries_dropped_early_total{job="strokewise",instance="a:8420"}', values: '0x20 400x20' }
      - { series: 'strokewise_log_full{job="strokewise",instance="a:8420"}', values: '0x20 1x20' }
      - { series: 'strokewise_log_bytes{job="strokewise",instance="a:8420"}', values: '19000000000x40' }
      - { series: 'strokewise_log_max_bytes{job="strokewise",instance="a:8420"}', values: '20000000000x40' }
    alert_rule_test:
      - { eval_time: 9m, alertname: StrokewiseEvidenceShortened, exp_alerts: [] }
      - { eval_time: 9m, alertname: StrokewiseLogRefuses, exp_alerts: [] }
      - eval_time: 12m
        alertname: StrokewiseEvidenceShortened
        exp_alerts:
          - exp_labels: { severity: low, job: strokewise, instance: "a:8420" }
            exp_annotations:
              summary: The sample log is full and drops its oldest entries, all analysed, before log.keep is over.
              runbook: Nothing is lost for the history; back-tests and reanalyse reach back less far. strokewise check says what log.max_bytes to set.
      - eval_time: 16m
        alertname: StrokewiseLogRefuses
        exp_alerts:
          - exp_labels: { severity: high, job: strokewise, instance: "a:8420" }
            exp_annotations:
              summary: The sample log does not take samples; no message is acknowledged and the broker must keep them.
              runbook: Read /readyz. A full log names the partition whose samples are not analysed yet; else free the disk or start the log's server.
`
	if err := os.WriteFile(script, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(peers.Find(t, "promtool"), "test", "rules", script).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
