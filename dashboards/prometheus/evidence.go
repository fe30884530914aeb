package prometheus

import "strokewise/dashboards/board"

// Families of how far back the sample log reaches.
var (
	evidenceReach = gauge("log_evidence_seconds", "How far back the sample log reaches: time since its oldest entry was stored.")
	evidenceLasts = gauge("log_lasts_seconds", "How far back the sample log will reach once it is full, at the rate measured lately.")
	droppedEarly  = counter("log_entries_dropped_early_total", "Entries of the sample log, analysed, that were dropped before log.keep was over to make room.")
	entriesLost   = counter("log_entries_lost_total", "Entries of the sample log that damaged files have lost, at least.")
)

// evidence sends how far back the log reaches; what is not known yet is left out.
func (s sink) evidence(e *board.Evidence) {
	if e.Reach > 0 {
		s.put(evidenceReach, e.Reach)
	}
	if e.Lasts > 0 {
		s.put(evidenceLasts, e.Lasts)
	}
	s.put(droppedEarly, float64(e.DroppedEarly))
	s.put(entriesLost, float64(e.Lost))
}
