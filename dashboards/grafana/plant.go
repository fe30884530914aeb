package grafana

// Queries of the plant are of the sites that were picked.
const ofSites = `{site=~"$site"}`

// plant shows all stations of the sites side by side.
func plant() Board {
	return Board{
		Name: "plant", Title: "strokewise: plant", From: "now-24h",
		About:     "All boost stations of the picked sites. Readings, not isolation: vent, lock out, verify at a local gauge.",
		Variables: []Variable{{Label: "site", Multi: true}},
		Rows: []Row{
			{"Now", []Panel{
				{Title: "Stations", Kind: Number, Width: 4, Of: []string{"strokewise_station_info"},
					Targets: []Target{{`count(strokewise_station_info` + ofSites + `)`, ""}}},
				{Title: "Silent", Kind: Number, Width: 4, Warn: 1, Of: []string{"strokewise_silent"},
					Targets: []Target{{`sum(strokewise_silent` + ofSites + `)`, ""}}},
				{Title: "Alarms", Kind: Number, Width: 8, Warn: 1, Of: []string{"strokewise_alarm_active"},
					Targets: []Target{{`count by (priority) (strokewise_alarm_active` + ofSites + ` == 1)`, "{{priority}}"}}},
				{Title: "Cost of the last 24 hours", Kind: Number, Width: 4, Of: []string{"strokewise_air_cost_total"},
					Targets: []Target{{`sum by (currency) (site:strokewise_air_cost:increase1d` + ofSites + `)`, "{{currency}}"}}},
				{Title: "CO₂ of the last 24 hours", Kind: Number, Unit: "massg", Width: 4, Of: []string{"strokewise_air_carbon_dioxide_grams_total"},
					Targets: []Target{{`sum(increase(strokewise_air_carbon_dioxide_grams_total` + ofSites + `[1d]))`, ""}}},
			}},
			{"Work", []Panel{
				{Title: "Duty of the last hour", Unit: "percentunit", Width: 12, Top: 1, Of: []string{"strokewise_state_seconds_total"},
					Targets: []Target{{`station:strokewise_duty:ratio_rate1h` + ofSites, "{{site}} {{station}}"}}},
				{Title: "State: 1 while charging or stroking", Kind: States, Width: 12, Of: []string{"strokewise_state_active"},
					Targets: []Target{{`sum by (site, station) (strokewise_state_active{site=~"$site", state=~"charging|stroking"}) or (0 * sum by (site, station) (strokewise_state_active` + ofSites + `))`, "{{site}} {{station}}"}}},
			}},
			{"Air", []Panel{
				{Title: "Air drawn, by branch", Unit: "flowlpm", Width: 8, Of: []string{"strokewise_inlet_air_cubic_meters_total"},
					Targets: []Target{{`sum by (site, branch) (rate(strokewise_inlet_air_cubic_meters_total` + ofSites + `[$__rate_interval])) * 60000`, "{{site}} {{branch}}"}}},
				{Title: "Air drawn a day, by branch", Unit: "m3", Width: 8, Of: []string{"strokewise_inlet_air_cubic_meters_total"},
					Targets: []Target{{`branch:strokewise_inlet_air_cubic_meters:increase1d` + ofSites, "{{site}} {{branch}}"}}},
				{Title: "Air drawn for each cubic metre delivered", Width: 8, Of: []string{"strokewise_inlet_air_cubic_meters_total", "strokewise_delivered_air_cubic_meters_total"},
					Targets: []Target{{`branch:strokewise_specific_air:ratio_increase1d` + ofSites, "{{site}} {{branch}}"}}},
			}},
			{"Leaks", []Panel{
				{Title: "Leak by station", Unit: "flowlpm", Width: 12, Of: []string{"strokewise_leak_flow_cubic_meters_per_second"},
					Targets: []Target{{`strokewise_leak_flow_cubic_meters_per_second` + ofSites + ` * 60000`, "{{site}} {{station}}"}}},
				{Title: "Share of the delivered air that leaks, by branch", Unit: "percentunit", Width: 12, Of: []string{"strokewise_leak_air_cubic_meters_total"},
					Targets: []Target{{`branch:strokewise_leak_share:ratio_increase1d` + ofSites, "{{site}} {{branch}}"}}},
			}},
		},
	}
}
