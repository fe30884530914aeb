package engine

import (
	"testing"

	"strokewise/analyzer/station"
)

// What is stepped back to was read before the doubt began: from the fine marks within four minutes,
// from the coarse ones within an hour, and nothing beyond.
func TestSteppingBackToWhatWasBelieved(t *testing.T) {
	start := station.Instant(1767225600 * station.Second)
	read := func(seconds int) (s stateNow, end station.Instant) {
		for i := range seconds {
			end = start.Add(int64(i) * station.Second)
			s.seen(float64(i), end) // the pressure is the second
		}
		return s, end
	}
	for _, c := range []struct{ ago, least int }{{1, 0}, {30, 0}, {225, 0}, {300, 240}, {3300, 240}} {
		s, end := read(7200)
		s.stepBack(end.Add(-int64(c.ago) * station.Second))
		since, within := float64(7199-c.ago), float64(max(c.least, 16))
		if !s.HadOutlet || s.LastOutlet >= since || s.LastOutlet < since-within {
			t.Errorf("a doubt that began %d s ago, at %g: stepped back to %g, %v", c.ago, since, s.LastOutlet, s.HadOutlet)
		}
		before := s
		if s.stepBack(end.Add(-int64(c.ago) * station.Second)); s != before {
			t.Errorf("%d s: stepping back again changes the state", c.ago)
		}
		if s.seen(1e6, end.Add(station.Second)); s.LastOutlet != 1e6 || !s.HadOutlet {
			t.Error("a reading after the doubt is not taken up")
		}
	}
	s, _ := read(7200)
	if s.stepBack(start); s.HadOutlet {
		t.Errorf("a doubt since the start leaves %g", s.LastOutlet)
	}
	s, end := read(7200)
	if s.stepBack(end.Add(3 * station.Second)); s.LastOutlet != 7199 {
		t.Errorf("a doubt that begins now takes %g away", s.LastOutlet)
	}
}
