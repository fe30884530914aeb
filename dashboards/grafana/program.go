package grafana

// program shows how strokewise itself does.
func program() Board {
	quantiles := func(name, by, legend string) []Target {
		return []Target{
			{`histogram_quantile(0.5, sum by (le` + by + `) (rate(` + name + `_bucket[$__rate_interval])))`, "half " + legend},
			{`histogram_quantile(0.95, sum by (le` + by + `) (rate(` + name + `_bucket[$__rate_interval])))`, "95 of 100 " + legend},
		}
	}
	return Board{
		Name: "program", Title: "strokewise: the program", From: "now-6h",
		About: "How strokewise itself does: from message to notification. Its page /program says what to do first.",
		Rows: []Row{
			{"Now", []Panel{
				{Title: "Ready", Kind: Number, Width: 4, Of: []string{"strokewise_ready"}, Targets: []Target{{`strokewise_ready`, ""}}},
				{Title: "Parts that do not work", Kind: Number, Width: 6, Warn: 1, Of: []string{"strokewise_part_state"}, Targets: []Target{{`sum(strokewise_part_state{level!="works"})`, ""}}},
				{Title: "Behind the log", Kind: Number, Width: 4, Warn: 1000, Of: []string{"strokewise_log_behind_entries"}, Targets: []Target{{`sum(strokewise_log_behind_entries)`, "entries"}}},
				{Title: "Stations not watched", Kind: Number, Width: 4, Warn: 1, Of: []string{"strokewise_stations_quarantined"}, Targets: []Target{{`strokewise_stations_quarantined`, ""}}},
				{Title: "Version", Kind: Number, Width: 6, Of: []string{"strokewise_build_info"}, Targets: []Target{{`strokewise_build_info`, "{{version}}"}}},
			}},
			{"In", []Panel{
				{Title: "Messages and samples a second", Width: 8, Of: []string{"strokewise_messages_total", "strokewise_samples_total"}, Targets: []Target{
					{`rate(strokewise_messages_total[$__rate_interval])`, "messages"}, {`rate(strokewise_samples_total[$__rate_interval])`, "samples"}}},
				{Title: "Refused a second, by reason", Width: 8, Of: []string{"strokewise_payloads_refused_total"}, Targets: []Target{{`rate(strokewise_payloads_refused_total[$__rate_interval])`, "{{reason}}"}}},
				{Title: "Waiting for the log", Width: 8, Of: []string{"strokewise_queue_messages", "strokewise_queue_capacity"}, Targets: []Target{{`strokewise_queue_messages`, "messages"}, {`strokewise_queue_capacity`, "capacity"}}},
			}},
			{"Concluded", []Panel{
				{Title: "Sample to commit", Unit: "s", Width: 8, Of: []string{"strokewise_sample_to_commit_seconds"}, Targets: quantiles("strokewise_sample_to_commit_seconds", "", "")},
				{Title: "Lag of stations", Unit: "s", Width: 8, Of: []string{"strokewise_lag_seconds"}, Targets: []Target{{`max by (site) (strokewise_lag_seconds)`, "{{site}}"}}},
				{Title: "Sample log", Unit: "bytes", Width: 8, Of: []string{"strokewise_log_bytes", "strokewise_log_max_bytes"}, Targets: []Target{{`strokewise_log_bytes`, "stored"}, {`strokewise_log_max_bytes`, "at most"}}},
			}},
			{"Told", []Panel{
				{Title: "Alarm to delivery", Unit: "s", Width: 8, Of: []string{"strokewise_alarm_to_delivery_seconds"}, Targets: quantiles("strokewise_alarm_to_delivery_seconds", ", receiver", "{{receiver}}")},
				{Title: "Notifications that wait", Width: 8, Of: []string{"strokewise_outbox_pending"}, Targets: []Target{{`strokewise_outbox_pending`, "{{receiver}}"}}},
				{Title: "Requests for pages and metrics", Unit: "s", Width: 8, Of: []string{"strokewise_http_request_duration_seconds"}, Targets: quantiles("strokewise_http_request_duration_seconds", ", code", "{{code}}")},
			}},
		},
	}
}

// Boards returns all dashboards.
func Boards() []Board { return []Board{plant(), one(), program()} }
