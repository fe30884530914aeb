package prometheus

import "strokewise/dashboards/board"

// Families of the export to a database of time series.
var (
	exportPending = gauge("export_pending", "Minutes and alarm transitions waiting to be exported.")
	exportAge     = gauge("export_oldest_age_seconds", "Time since the oldest minute or transition that waits to be exported was concluded; 0 while none waits.")
	exportPoints  = counter("export_points_total", "Points that the export's server has taken.")
	exportFailed  = counter("export_failed_total", "Requests to the export's server that did not succeed.")
	exportDropped = counter("export_dropped_total", "Minutes and alarm transitions given up by the export: refused by the server, expired, or gone from the history.", "reason")
)

// export sends the export's figures, if there is one.
func (s sink) export(e *board.Export) {
	if e == nil {
		return
	}
	s.put(exportPending, float64(e.Pending))
	s.put(exportAge, e.Age)
	s.put(exportPoints, float64(e.Points))
	s.put(exportFailed, float64(e.Failed))
	s.each(exportDropped, e.Dropped)
}
