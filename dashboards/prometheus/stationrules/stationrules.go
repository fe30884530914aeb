// Package stationrules makes rules for Prometheus out of the alarm catalogue, and promtool's tests of them:
// an alert for each alarm of stations, headers and sites.
package stationrules

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"strokewise/rules"
)

// held is the recording rule that the alerts read.
const held = "station:strokewise_alarm_active:held"

const head = `# Alerts of stations, headers and sites, for Prometheus, in a scrape job named strokewise. Made from the alarm
# catalogue by make monitoring: do not edit. prometheus.stations.rules.test.yaml has tests of each.
#
# They repeat what strokewise decides, with its delays and hysteresis. Use them, or the receiver alertmanagers
# of strokewise, not both: people would hear of everything twice. They lack what strokewise itself knows:
# figures, who acknowledged, and what a low header explains.
groups:
  - name: strokewise-stations
    rules:
      # Alarms that are present. While strokewise does not answer they stand as it last showed them, for a day:
      # a program that is down has not vented any line.
      - record: ` + held + `
        expr: >-
          strokewise_alarm_active == 1
          or (last_over_time(strokewise_alarm_active[1d]) == 1 and on (job, instance) up{job="strokewise"} == 0)
`

// alarm is an alarm with what its rule says.
type alarm struct {
	rules.Definition
	header bool // of a header or site
}

// alarms returns all alarms, those of stations first. A name that headers and stations share comes once, as the station's.
func alarms() []alarm {
	var out []alarm
	seen := map[string]bool{}
	add := func(list []rules.Definition, header bool) {
		for _, d := range list {
			if !seen[d.Name] {
				seen[d.Name] = true
				out = append(out, alarm{d, header})
			}
		}
	}
	add(rules.Catalogue(), false)
	add(rules.HeaderCatalogue(), true)
	return out
}

// Rules returns the file of rules.
func Rules() []byte {
	var b bytes.Buffer
	b.WriteString(head)
	for _, a := range alarms() {
		fmt.Fprintf(&b, "      - alert: %s\n", a.Name)
		fmt.Fprintf(&b, "        expr: max without (alarm) (%s{alarm=%q})\n", held, a.Name)
		b.WriteString("        annotations:\n")
		fmt.Fprintf(&b, "          summary: %s\n", quote(summary(&a)))
		fmt.Fprintf(&b, "          description: %s\n", quote(description(&a)))
		fmt.Fprintf(&b, "          runbook_url: %s\n", quote(page(&a)))
	}
	return b.Bytes()
}

func summary(a *alarm) string {
	return "{{ $labels.site }}/{{ $labels.station }}: " + a.Name + ". " + a.Consequence
}

// description returns caution, what to check first, likely causes and the runbook, in the order of the pages.
func description(a *alarm) string {
	var parts []string
	if a.Caution != "" {
		parts = append(parts, "Caution: "+a.Caution)
	}
	parts = append(parts, "Check first: "+a.CheckFirst)
	if len(a.Causes) > 0 {
		parts = append(parts, "Likely causes: "+strings.Join(a.Causes, "; ")+".")
	}
	return strings.Join(append(parts, "Respond "+a.RespondIn+".", a.Runbook), " ")
}

// page returns the path of the page that shows the alarm's card. Headers and sites have theirs on the first one.
func page(a *alarm) string {
	if a.header {
		return "/"
	}
	return "/station/{{ $labels.site }}/{{ $labels.station }}"
}

// quote returns a double-quoted scalar of YAML: JSON's escapes are among those of YAML.
func quote(s string) string { return strconv.Quote(s) }
