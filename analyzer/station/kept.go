package station

import "math"

// hour is the length of an hour, ns.
const hour = 60 * Minute60

// HourFigure is what a slow figure was at the end of an hour of event time, the row that is
// kept for years. The hour is half-open, UTC.
type HourFigure struct {
	Hour    Instant // its start
	Segment uint32
	Figure  Figure
	Estimate
}

// HourOf gives the start of the hour that the second before end belongs to.
func HourOf(end Instant) Instant { return end.Add(-1).Floor(hour) }

// HourOf gives the start of the hour that the status belongs to.
func (s *Status) HourOf() Instant { return HourOf(s.At) }

// HourFigures appends the figures that the status knows and that were obtained within its
// hour to dst: what was not renewed for longer would be an old measurement under a new date.
func (s *Status) HourFigures(dst []HourFigure) []HourFigure {
	start := s.HourOf()
	for f := range s.Estimates {
		e := &s.Estimates[f]
		if e.Known() && e.At > start && !math.IsNaN(e.Value) && !math.IsInf(e.Value, 0) {
			dst = append(dst, HourFigure{Hour: start, Segment: s.Segment, Figure: Figure(f), Estimate: *e})
		}
	}
	return dst
}
