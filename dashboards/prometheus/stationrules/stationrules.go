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
      # a program that is down has not vented any line. They end where another instance of the job shows the site.
      - record: ` + held + `
        expr: >-
          strokewise_alarm_active == 1
          or (
            last_over_time(strokewise_alarm_active[1d]) == 1
            and on (job, instance) up{job="strokewise"} == 0
            unless on (job, site) strokewise_station_info
          )
`

// alarm is an alarm with what its rule says.
type alarm struct {
	name    string
	station *rules.Definition // nil: stations have none of this name
	header  *rules.Definition // nil: headers and sites have none
}

// alarms returns all alarms, those of stations first. One of a header and one of a station may share a name.
func alarms() (out []*alarm) {
	by := map[string]*alarm{}
	of := func(name string) *alarm {
		if by[name] == nil {
			by[name] = &alarm{name: name}
			out = append(out, by[name])
		}
		return by[name]
	}
	for _, d := range rules.Catalogue() {
		of(d.Name).station = &d
	}
	for _, d := range rules.HeaderCatalogue() {
		of(d.Name).header = &d
	}
	return out
}

// text returns what say has to say of the alarm, with a choice at evaluation where a header's differs from a station's. A
// header stands where a station would, as header:west, and a site as site:all.
func (a *alarm) text(say func(d *rules.Definition) string) string {
	switch {
	case a.header == nil:
		return say(a.station)
	case a.station == nil:
		return say(a.header)
	}
	return `{{ if match "^header:" $labels.station }}` + say(a.header) + `{{ else }}` + say(a.station) + `{{ end }}`
}

// Rules returns the file of rules.
func Rules() []byte {
	var b bytes.Buffer
	b.WriteString(head)
	for _, a := range alarms() {
		fmt.Fprintf(&b, "      - alert: %s\n", a.name)
		fmt.Fprintf(&b, "        expr: max without (alarm) (%s{alarm=%q})\n", held, a.name)
		b.WriteString("        annotations:\n")
		fmt.Fprintf(&b, "          summary: %s\n", quote("{{ $labels.site }}/{{ $labels.station }}: "+a.name+". "+a.text(consequence)))
		fmt.Fprintf(&b, "          description: %s\n", quote(a.text(description)))
		fmt.Fprintf(&b, "          runbook_url: %s\n", quote(a.page()))
	}
	return b.Bytes()
}

func consequence(d *rules.Definition) string { return d.Consequence }

// description returns caution, what to check first, likely causes and the runbook, in the order of the pages.
func description(d *rules.Definition) string {
	var parts []string
	if d.Caution != "" {
		parts = append(parts, "Caution: "+d.Caution)
	}
	parts = append(parts, "Check first: "+d.CheckFirst)
	if len(d.Causes) > 0 {
		parts = append(parts, "Likely causes: "+strings.Join(d.Causes, "; ")+".")
	}
	return strings.Join(append(parts, "Respond "+d.RespondIn+".", d.Runbook), " ")
}

// page returns the path of the page that shows the alarm's card. Headers and sites have theirs on the first one.
func (a *alarm) page() string {
	const own = "/station/{{ $labels.site }}/{{ $labels.station }}"
	switch {
	case a.header == nil:
		return own
	case a.station == nil:
		return "/"
	}
	return `{{ if match "^header:" $labels.station }}/{{ else }}` + own + `{{ end }}`
}

// quote returns a double-quoted scalar of YAML: JSON's escapes are among those of YAML.
func quote(s string) string { return strconv.Quote(s) }
