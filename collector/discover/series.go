package discover

import (
	"math"

	"strokewise/analyzer/station"
)

// series is one value that comes again and again.
type series struct {
	id      int
	topic   *heard
	name    string
	unit    string          // that the payload says; "": none
	channel station.Channel // that its name says, where named
	named   bool

	n           int64
	first, last station.Instant
	low, high   float64
	before      float64
	whole       bool    // all values are whole numbers
	binary      bool    // all are 0 or 1
	words       bool    // it comes as on, off, open, closed, true or false
	rises       int64   // changes upwards
	falls       int64   // and downwards
	rose        float64 // sum of the changes upwards
	least       float64 // smallest change
	most        float64 // largest change
	slots       [numSlots]slot
}

// add appends a value.
func (s *series) add(v *value, at station.Instant, k int) {
	if v.unit != "" {
		s.unit = v.unit
	}
	if v.named {
		s.channel, s.named = v.channel, true
	}
	x := v.v
	s.words = s.words || v.word
	s.whole = s.whole && x == math.Trunc(x)
	s.binary = s.binary && (x == 0 || x == 1)
	if s.n == 0 {
		s.first, s.low, s.high = at, x, x
	} else {
		s.change(x - s.before)
	}
	s.n++
	s.last, s.before = max(s.last, at), x
	s.low, s.high = min(s.low, x), max(s.high, x)
	if k >= 0 {
		b := &s.slots[k]
		b.sum, b.last, b.n = b.sum+x, x, b.n+1
	}
}

// change notes the step from one value to the next.
func (s *series) change(d float64) {
	if d == 0 {
		return
	}
	if d > 0 {
		s.rises++
		s.rose += d
	} else {
		s.falls++
	}
	if m := math.Abs(d); s.least == 0 || m < s.least {
		s.least = m
	}
	s.most = max(s.most, math.Abs(d))
}

// rate returns values a second, 0 where it is not known.
func (s *series) rate() float64 {
	if d := s.last.Sub(s.first); d > 0 && s.n > 1 {
		return float64(s.n-1) * 1e9 / float64(d)
	}
	return 0
}

// seconds returns how long the series has been heard.
func (s *series) seconds() float64 { return float64(s.last.Sub(s.first)) / 1e9 }

// middle returns the mean of the slots, each with the same weight.
func (s *series) middle() float64 {
	sum, n := 0.0, 0
	for k := range s.slots {
		if s.slots[k].n > 0 {
			sum, n = sum+s.slots[k].mean(), n+1
		}
	}
	return sum / float64(max(n, 1))
}
