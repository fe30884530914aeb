package board

// Evidence is how far back the sample log reaches.
type Evidence struct {
	Reach        float64 // s since the oldest entry was stored, 0: empty or not known yet
	Lasts        float64 // s for which the log's bound lasts at the rate measured lately, 0: not known yet, or no bound
	DroppedEarly int64   // entries dropped since the start before their time, to make room
	Lost         int64   // entries that damaged files have lost, at least
}
