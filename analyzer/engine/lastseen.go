package engine

import "strokewise/analyzer/station"

// A doubt often begins well before it is decided. To step back to what was read before it, the
// outlet's believed readings are kept at marks: one in 15 s for four minutes, one in four minutes
// for an hour (own choice). A doubt that began earlier leaves no reading that was believed.
const (
	markFine   = 15 * station.Second
	markCoarse = 16 * markFine
	marks      = 16
)

// mark is a believed reading of the outlet, Pa gauge, at the end of a slot.
type mark struct {
	At       station.Instant
	Pressure float64
}

// lastSeen is the outlet's last believed reading, and earlier ones. Fields are exported for
// snapshots only.
type lastSeen struct {
	At     station.Instant // of stateNow.LastOutlet
	Fine   [marks]mark
	Coarse [marks]mark
}

// seen notes a reading that is believed at the end of a slot.
func (s *stateNow) seen(pressure float64, end station.Instant) {
	m := &s.Seen
	if end < m.At {
		*m = lastSeen{} // the clock was set back
	}
	if int64(end)/markFine != int64(m.At)/markFine {
		m.Fine[int64(end)/markFine%marks] = mark{end, pressure}
	}
	if int64(end)/markCoarse != int64(m.At)/markCoarse {
		m.Coarse[int64(end)/markCoarse%marks] = mark{end, pressure}
	}
	s.LastOutlet, s.HadOutlet, m.At = pressure, true, end
}

// unsee steps the last reading back to before a doubt of the outlet began. Readings from before it
// that bear the same fault were never sound, and nothing is left then.
func (e *Engine) unsee(since station.Instant) {
	if s := &e.State; s.stepBack(since) && s.HadOutlet && !e.soundBefore(s.LastOutlet) {
		s.LastOutlet, s.HadOutlet, s.Seen = 0, false, lastSeen{}
	}
}

// stepBack makes the last reading before a time the last one, and reports whether anything was
// taken away. The beginning of a doubt is known to a slot, and the slot that it lies in mixes sound
// readings with others.
func (s *stateNow) stepBack(since station.Instant) bool {
	m := &s.Seen
	since = since.Add(-2 * slotLen)
	if !s.HadOutlet || m.At < since {
		return false
	}
	last := mark{}
	for _, ring := range [...]*[marks]mark{&m.Fine, &m.Coarse} {
		for i := range ring {
			switch {
			case ring[i].At >= since:
				ring[i] = mark{}
			case ring[i].At > last.At:
				last = ring[i]
			}
		}
	}
	s.LastOutlet, s.HadOutlet, m.At = last.Pressure, last.At != 0, last.At
	return true
}

// moved is the factor by which the outlet may have moved between a reading from before a doubt and
// the decision, minutes later (own choice).
const moved = 2.0

// soundBefore reports whether a reading from before a doubt differs from the present, doubted one as
// the fault asks for, Pa gauge. A wrong unit that was there from the start, while nobody could tell,
// makes no step; nor do exchanged sensors.
func (e *Engine) soundBefore(before float64) bool {
	now := e.Outlet.Mean
	switch e.Doubt.Held.Is {
	case wrongUnit:
		for i := range units {
			if u := &units[i]; u.is == e.Doubt.Held.Reason.Mistake {
				return now > before*u.factor/moved && now < before*u.factor*moved
			}
		}
	case exchanged, below:
		return before > 1.15*now // as whyBelow tells an outlet from an inlet
	}
	return true
}
