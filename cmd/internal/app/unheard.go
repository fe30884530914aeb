package app

import (
	"context"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

const (
	hour = 60 * station.Minute60
	// closedAfter is how long after its end an hour of a station that is heard has all its minutes, ns. Own choice: what waits at
	// the edge for longer counts as unheard until it is here.
	closedAfter = 10 * station.Minute60
)

// unheard returns the minutes of [from, to) that nothing is stored of, though the station was known by then and they are over: whole hours
// behind its first one, of which list has those that anything is stored of. An err that came before is handed through.
func (h hours) unheard(ctx context.Context, k station.Key, list []history.Hour, from, to, now station.Instant, err error) (int64, error) {
	if err != nil {
		return 0, err
	}
	first, ok, err := h.FirstHour(ctx, k)
	if err != nil || !ok {
		return 0, err
	}
	begin := max(from.Add(hour-1).Floor(hour), first.Add(hour))
	end := min(to, now.Add(-closedAfter)).Floor(hour)
	missing := max(end.Sub(begin), 0) / station.Minute60
	for i := 0; i < len(list); {
		start, stored := list[i].Start, int64(0)
		for ; i < len(list) && list[i].Start == start; i++ { // the segments of an hour
			stored += list[i].Minutes
		}
		if start >= begin && start < end {
			missing -= min(stored, 60)
		}
	}
	return max(missing, 0), nil
}
