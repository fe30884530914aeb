package web

import (
	"strconv"

	"strokewise/dashboards/board"
)

// inputRows show how a station's samples come in: its device's clock, and what was odd.
func inputRows(s *board.Station) []row {
	if s.Status.At == 0 {
		return nil
	}
	r := []row{{Name: "Device's clock against ours", Value: number(-float64(s.OffsetNs)*1e-9, 1), Unit: "s", How: "device less arrival, newest sample"}}
	if s.Arrival > 0 {
		r = append(r, row{Name: "Samples stamped on arrival", Value: strconv.FormatInt(s.Arrival, 10), How: "their payload carries no time: times of strokes are less sure"})
	}
	c := &s.Counter
	for _, x := range []struct {
		name, how string
		n         int64
	}{
		{"Steps of the device's clock", "set back: a new segment each", s.ClockSteps},
		{"Gaps", "no sample for ten seconds", s.Gaps},
		{"Late samples", "behind the watermark, or seen before", s.Late},
		{"Duplicates", "same channel and time", s.Duplicate},
		{"Counter began again", "", c.Resets},
		{"Counter rolled over", "", c.Rolls},
		{"Counts dropped as bounce", "faster than strokes can follow", c.Bounced},
		{"Counter slipped back", "by one or two", c.Back},
	} {
		if x.n > 0 {
			r = append(r, row{Name: x.name, Value: strconv.FormatInt(x.n, 10), How: x.how})
		}
	}
	return r
}
