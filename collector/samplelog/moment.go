package samplelog

import "time"

// moment is a reading of both clocks. The monotonic clock is not set by anybody and runs on while
// a process is stopped, but not while the machine sleeps; the other one does then, but may be set.
type moment struct {
	mono time.Time // compared by its monotonic reading
	wall time.Time // without one
}

func clocks() moment {
	t := time.Now()
	return moment{t, t.Round(0)}
}

// since returns the time since m by the clock that ran further.
func (m moment) since(now moment) time.Duration {
	return max(now.mono.Sub(m.mono), now.wall.Sub(m.wall))
}
