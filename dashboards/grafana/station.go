package grafana

import (
	"strings"

	metrics "strokewise/dashboards/prometheus"
)

// Queries of a station are of the one that was picked.
const ofStation = `{site="$site", station="$station"}`

// one shows a single station.
func one() Board {
	return Board{
		Name: "station", Title: "strokewise: station", From: "now-6h",
		About:     "One boost station. Readings, not isolation: vent, lock out, verify at a local gauge. What is not known, or not heard of, is a hole in a line.",
		Variables: []Variable{{Label: "site"}, {Label: "station", Filter: `site="$site"`}},
		Rows: []Row{
			{"Now", []Panel{
				{Title: "State", Kind: Number, Width: 4, Of: []string{"strokewise_state_active"}, Targets: []Target{{`strokewise_state_active` + ofStation, "{{state}}"}}},
				{Title: "Samples arrived", Kind: Number, Unit: "s", Width: 4, Warn: 30, Of: []string{"strokewise_last_sample_timestamp_seconds"},
					Targets: []Target{{`time() - strokewise_last_sample_timestamp_seconds` + ofStation, "ago"}}},
				{Title: "Duty since midnight", Kind: Number, Unit: "percentunit", Width: 4, Of: []string{"strokewise_duty_ratio"}, Targets: []Target{{`strokewise_duty_ratio` + ofStation, ""}}},
				{Title: "Strokes", Kind: Number, Width: 4, Of: []string{"strokewise_strokes_total"}, Targets: []Target{{`strokewise_strokes_total` + ofStation, ""}}},
				{Title: "Alarms", Kind: Number, Width: 8, Warn: 1, Of: []string{"strokewise_alarm_active"}, Targets: []Target{{`strokewise_alarm_active{site="$site", station=~"$station|header:.*|site:all"}`, "{{alarm}} {{priority}}"}}},
			}},
			{"Pressures and strokes", []Panel{
				{Title: "Pressures", Unit: "pressurebar", Width: 16, Of: []string{"strokewise_inlet_pressure_pascals", "strokewise_outlet_pressure_pascals"}, Targets: []Target{
					{`strokewise_outlet_pressure_pascals` + ofStation + ` * 1e-5`, "outlet"},
					{`strokewise_inlet_pressure_pascals` + ofStation + ` * 1e-5`, "inlet"},
					{`strokewise_header_static_pascals` + ofStation + ` * 1e-5`, "before the supply line"},
					{`strokewise_reachable_pressure_pascals` + ofStation + ` * 1e-5`, "within reach"}}},
				{Title: "Strokes a minute", Width: 8, Of: []string{"strokewise_stroke_rate_hertz"}, Targets: []Target{{`strokewise_stroke_rate_hertz` + ofStation + ` * 60`, "strokes"}}},
			}},
			{"Air", []Panel{
				airPanel("Air drawn", "inlet_air"), airPanel("Drive air", "exhaust_air"), airPanel("Air delivered", "delivered_air"),
				{Title: "Leak, with its 90 % band", Unit: "flowlpm", Width: 12, Of: []string{"strokewise_leak_flow_cubic_meters_per_second"}, Targets: []Target{
					{`strokewise_leak_flow_cubic_meters_per_second` + ofStation + ` * 60000`, "leak"},
					{`strokewise_leak_flow_low_cubic_meters_per_second` + ofStation + ` * 60000`, "low"},
					{`strokewise_leak_flow_high_cubic_meters_per_second` + ofStation + ` * 60000`, "high"}}},
				{Title: "Time in each state", Unit: "percentunit", Width: 12, Top: 1, Of: []string{"strokewise_state_seconds_total"}, Targets: []Target{
					{`rate(strokewise_state_seconds_total` + ofStation + `[10m])`, "{{state}}"}}},
			}},
			{"Figures of weeks", figures()},
		},
	}
}

// airPanel shows air a time with its band.
func airPanel(title, name string) Panel {
	p := Panel{Title: title + ", with its 90 % band", Unit: "flowlpm", Width: 8, Of: []string{"strokewise_" + name + "_cubic_meters_total"}}
	for _, x := range [...]struct{ end, legend string }{{"", "air"}, {"_low", "low"}, {"_high", "high"}} {
		p.Targets = append(p.Targets, Target{`rate(strokewise_` + name + x.end + `_cubic_meters_total` + ofStation + `[10m]) * 60000`, x.legend})
	}
	return p
}

// figures returns a panel for each slow figure that no other panel shows.
func figures() (out []Panel) {
	shown := map[string]bool{"strokewise_header_static_pascals": true, "strokewise_reachable_pressure_pascals": true}
	for _, m := range metrics.SlowFigures() {
		if shown[m.Name] {
			continue
		}
		p := Panel{Title: titleOf(m.Name), Unit: unitOf(m.Name), Width: 6, Of: []string{m.Name}, Targets: []Target{{m.Name + ofStation, "{{station}}"}}}
		out = append(out, p)
	}
	return out
}

// units are how metrics end, with what Grafana calls that unit.
var units = [...]struct{ end, title, unit string }{
	{"_cubic_meters_per_second_pascal", ", m³/(s·Pa)", "none"}, {"_cubic_meters_per_second", "", "m3/s"}, {"_cubic_meters", "", "m3"},
	{"_pascals", "", "pressurepa"}, {"_joules", "", "joule"}, {"_ratio", "", "percentunit"}, {"", "", "none"},
}

func unitOf(name string) string {
	for _, u := range units {
		if strings.HasSuffix(name, u.end) {
			return u.unit
		}
	}
	return "none"
}

// titleOf returns the name of a metric in words, without its unit.
func titleOf(name string) string {
	for _, u := range units {
		if rest, ok := strings.CutSuffix(name, u.end); ok {
			words := strings.ReplaceAll(strings.TrimPrefix(rest, "strokewise_"), "_", " ")
			return strings.ToUpper(words[:1]) + words[1:] + u.title
		}
	}
	return name
}
