package stationrules

import (
	"bytes"
	"fmt"
)

const testHead = `# Tests of prometheus.stations.rules.yaml, with the labels that a Prometheus server adds:
# promtool test rules deploy/prometheus.stations.rules.test.yaml. Made by make monitoring: do not edit.
# Each alarm fires while strokewise shows its condition, not while the alarm only waits for an acknowledgement or is
# shelved, nor after it has left the scrape.
rule_files: [prometheus.stations.rules.yaml]
evaluation_interval: 30s
tests:
`

// outage is the test of what stands while strokewise is down.
const outage = `  - name: 'strokewise is down: what stood stands, and ends with its return'
    interval: 30s
    input_series:
      - { series: 'up{job="strokewise", instance="monitor:8420"}', values: '1x4 0x20 1x20' }
      - { series: 'strokewise_alarm_active{job="strokewise", instance="monitor:8420", site="northdock", branch="forming", station="press-4", priority="high", alarm="pressure-left"}', values: '1x4 stale' }
      - { series: 'strokewise_alarm_active{job="strokewise", instance="monitor:8420", site="northdock", branch="forming", station="press-5", priority="high", alarm="pressure-left"}', values: '0x4 stale' }
    promql_expr_test:
      - { eval_time: 10m, expr: 'count by (alertname, priority, job, instance, site, branch, station) (ALERTS{alertstate="firing"})', exp_samples: [{ labels: '{alertname="pressure-left", priority="high", job="strokewise", instance="monitor:8420", site="northdock", branch="forming", station="press-4"}', value: 1 }] }
      - { eval_time: 15m, expr: 'count by (alertname, priority, job, instance, site, branch, station) (ALERTS{alertstate="firing"})', exp_samples: [] }
`

// Test returns promtool's tests of the rules. All alarms are in one test, each at a station of its own: promtool makes a
// database for every test.
func Test() []byte {
	var series, checks bytes.Buffer
	for _, a := range alarms() {
		labels := fmt.Sprintf(`priority=%q, job="strokewise", instance="monitor:8420", site="northdock", branch="forming", station="at-%s"`, a.Priority, a.Name)
		fmt.Fprintf(&series, "      - { series: 'strokewise_alarm_active{%s, alarm=%q}', values: '0x4 1x4 0x4 1 stale' }\n", labels, a.Name)
		const line = "      - { eval_time: %s, expr: 'count by (alertname, priority, job, instance, site, branch, station) (ALERTS{alertname=%q, alertstate=\"firing\"})', exp_samples: [%s] }\n"
		fires := fmt.Sprintf("{ labels: '{alertname=%q, %s}', value: 1 }", a.Name, labels)
		for _, x := range [...]struct{ at, want string }{{"1m", ""}, {"3m", fires}, {"6m", ""}, {"7m30s", fires}, {"9m", ""}} {
			fmt.Fprintf(&checks, line, x.at, a.Name, x.want)
		}
	}
	var b bytes.Buffer
	b.WriteString(testHead)
	b.WriteString(outage)
	b.WriteString("  - name: 'each alarm'\n    interval: 30s\n    input_series:\n")
	series.WriteTo(&b)
	b.WriteString("    promql_expr_test:\n")
	checks.WriteTo(&b)
	return b.Bytes()
}
