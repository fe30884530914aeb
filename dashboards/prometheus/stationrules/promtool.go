package stationrules

import (
	"bytes"
	"fmt"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/rules"
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

// others are the tests of the words of a header's alarm, and of a site that another instance watches by now: what the old
// one showed is over.
const others = `  - name: 'a header and a station have an alarm of one name, each with words of its own'
    interval: 30s
    input_series:
      - { series: 'strokewise_alarm_active{job="strokewise", instance="monitor:8420", site="northdock", branch="", station="header:west", priority="medium", alarm="header-low"}', values: '1x8' }
    alert_rule_test:
      - eval_time: 3m
        alertname: header-low
        exp_alerts:
          - exp_labels: { job: strokewise, instance: 'monitor:8420', site: northdock, station: 'header:west', priority: medium }
            exp_annotations:
              summary: @SUMMARY@
              description: @DESCRIPTION@
              runbook_url: /
  - name: 'another instance has taken over'
    interval: 30s
    input_series:
      - { series: 'up{job="strokewise", instance="monitor-1:8420"}', values: '1x4 0x40' }
      - { series: 'up{job="strokewise", instance="monitor-2:8420"}', values: '0x8 1x40' }
      - { series: 'strokewise_alarm_active{job="strokewise", instance="monitor-1:8420", site="northdock", branch="forming", station="press-4", priority="high", alarm="pressure-left"}', values: '1x4 stale' }
      - { series: 'strokewise_alarm_active{job="strokewise", instance="monitor-1:8420", site="southmill", branch="packing", station="pack-1", priority="high", alarm="pressure-left"}', values: '1x4 stale' }
      - { series: 'strokewise_station_info{job="strokewise", instance="monitor-2:8420", site="northdock", branch="forming", station="press-4", header="main", cadence="periodic"}', values: '_x8 1x40' }
    promql_expr_test:
      - { eval_time: 3m, expr: 'count by (station) (ALERTS{alertstate="firing"})', exp_samples: [{ labels: '{station="press-4"}', value: 1 }, { labels: '{station="pack-1"}', value: 1 }] }
      - { eval_time: 10m, expr: 'count by (station) (ALERTS{alertstate="firing"})', exp_samples: [{ labels: '{station="pack-1"}', value: 1 }] }
`

// Test returns promtool's tests of the rules. All alarms are in one test, each at a station of its own: promtool makes a
// database for every test.
func Test() []byte {
	var series, checks bytes.Buffer
	for _, a := range alarms() {
		if d := a.station; d != nil {
			one(&series, &checks, d, "at-"+d.Name)
		}
		if d := a.header; d != nil {
			one(&series, &checks, d, "header:"+d.Name)
		}
	}
	header, _ := rules.DefinitionOf(station.HeaderKey("northdock", "west"), rules.HeaderLow)
	var b bytes.Buffer
	b.WriteString(testHead)
	b.WriteString(outage)
	b.WriteString(strings.NewReplacer("@SUMMARY@", quote("northdock/header:west: header-low. "+header.Consequence), "@DESCRIPTION@", quote(description(&header))).Replace(others))
	b.WriteString("  - name: 'each alarm'\n    interval: 30s\n    input_series:\n")
	series.WriteTo(&b)
	b.WriteString("    promql_expr_test:\n")
	checks.WriteTo(&b)
	return b.Bytes()
}

// one adds the series of an alarm at a station or header, and what is asked of it.
func one(series, checks *bytes.Buffer, d *rules.Definition, at string) {
	labels := fmt.Sprintf(`priority=%q, job="strokewise", instance="monitor:8420", site="northdock", branch="forming", station=%q`, d.Priority, at)
	fmt.Fprintf(series, "      - { series: 'strokewise_alarm_active{%s, alarm=%q}', values: '0x4 1x4 0x4 1 stale' }\n", labels, d.Name)
	const line = "      - { eval_time: %s, expr: 'count by (alertname, priority, job, instance, site, branch, station) (ALERTS{alertname=%q, station=%q, alertstate=\"firing\"})', exp_samples: [%s] }\n"
	fires := fmt.Sprintf("{ labels: '{alertname=%q, %s}', value: 1 }", d.Name, labels)
	for _, x := range [...]struct{ at, want string }{{"1m", ""}, {"3m", fires}, {"6m", ""}, {"7m30s", fires}, {"9m", ""}} {
		fmt.Fprintf(checks, line, x.at, d.Name, at, x.want)
	}
}
