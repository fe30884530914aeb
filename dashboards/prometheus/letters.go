package prometheus

import "strokewise/dashboards/board"

// Families of our own clock, and of messages that are not accepted.
var (
	clockDoubted = gauge("clock_doubted", "1 while this machine's own clock is in doubt, else 0.")
	clockDoubts  = counter("clock_doubts_total", "Times that this machine's own clock came to be in doubt.")

	waiting        = gauge("messages_waiting", "Messages that wait on disk until our clock is right, or until older ones of their station are in.")
	refusedStored  = counter("refused_stored_total", "Refused messages stored on disk, by which they can be accepted later.")
	refusedLost    = counter("refused_lost_total", "Refused messages that could not be stored.")
	refusedDropped = counter("refused_dropped_total", "Refused messages removed to make room for newer ones, see refused.max_bytes.")
)

func (s sink) letters(p *board.Pipeline) {
	s.put(clockDoubted, number(p.ClockDoubted))
	s.put(clockDoubts, float64(p.ClockDoubts))
	s.put(waiting, float64(p.Waiting))
	s.put(refusedStored, float64(p.RefusedKept))
	s.put(refusedLost, float64(p.RefusedLost))
	s.put(refusedDropped, float64(p.RefusedDropped))
}
