package discover

import (
	"math"

	"strokewise/analyzer/station"
)

// All series share one grid of slots, so that what moves together can be seen. When the grid is full its
// slots are joined in pairs: it always covers all that was heard.
const (
	numSlots   = 240
	firstWidth = station.Second / 4 // a minute is covered before slots are joined
)

// slot sums what a series was within a slot's time.
type slot struct {
	sum  float64
	last float64
	n    int32
}

// mean returns the mean within the slot, NaN where there was nothing.
func (s *slot) mean() float64 {
	if s.n == 0 {
		return math.NaN()
	}
	return s.sum / float64(s.n)
}

// widen makes the grid cover a time.
func (l *Listener) widen(t station.Instant) {
	for t.Sub(l.began) >= numSlots*l.width {
		l.width *= 2
		for _, s := range l.series {
			s.join()
		}
	}
}

// join joins the slots of a series in pairs.
func (s *series) join() {
	for k := range numSlots / 2 {
		a, b := s.slots[2*k], s.slots[2*k+1]
		if b.n > 0 {
			a.last = b.last
		}
		a.sum, a.n = a.sum+b.sum, a.n+b.n
		s.slots[k] = a
	}
	clear(s.slots[numSlots/2:])
}

// slot returns the slot of a time; -1 before the first.
func (l *Listener) slot(t station.Instant) int {
	if t < l.began {
		return -1
	}
	return min(int(t.Sub(l.began)/l.width), numSlots-1)
}

// used returns how many slots have begun.
func (l *Listener) used() int {
	if l.began == 0 {
		return 0
	}
	return l.slot(l.newest) + 1
}
