package engine

import (
	"testing"

	"strokewise/analyzer/station"
)

// secondOf is a block of one channel, a sample a second.
func secondOf(c station.Channel, from, n int) *station.Block {
	b := &station.Block{Channel: c, Start: station.Instant(from) * station.Instant(station.Second), Step: station.Second}
	for range n {
		b.Values = append(b.Values, 1)
	}
	return b
}

func at1(second int) station.Instant {
	return station.Instant(second) * station.Instant(station.Second)
}

// The watermark is the oldest of the newest times less the lateness; a channel that is silent for more than
// 10 s holds nothing up.
func TestWhatIsComplete(t *testing.T) {
	var s Samples
	s.take(secondOf(station.InletPressure, 100, 10), 0, at1(110))
	s.take(secondOf(station.OutletPressure, 100, 5), 0, at1(110))
	if w := s.complete(2 * station.Second); w != at1(102) {
		t.Errorf("complete up to %s, want 4 s less 2", w)
	}
	s.take(secondOf(station.InletPressure, 110, 10), 0, at1(120))
	if w := s.complete(2 * station.Second); w != at1(117) {
		t.Errorf("complete up to %s, want 119 less 2: the other channel is 15 s behind", w)
	}
}

// A silence is passed at once, up to the slot of the next sample.
func TestWhatIsNext(t *testing.T) {
	var s Samples
	s.open(at1(100).Add(station.Second / 4))
	s.take(secondOf(station.InletPressure, 101, 1), 0, at1(101))
	if to, silent := s.next(); silent || to != at1(100).Add(slotLen) {
		t.Errorf("the next slot ends at %s, silent %v", to, silent)
	}
	s.Queues[station.InletPressure].drop(1)
	s.take(secondOf(station.InletPressure, 200, 1), 0, at1(200))
	if to, silent := s.next(); !silent || to != at1(200) {
		t.Errorf("a silence up to %s, silent %v", to, silent)
	}
}

// Samples behind the watermark whose times go on at the pace of their arrival are a clock that was set back; what is
// redelivered comes at once, and is only late.
func TestAClockSetBackIsFound(t *testing.T) {
	begun := func() *Samples {
		s := &Samples{}
		s.take(secondOf(station.InletPressure, 1000, 60), 0, at1(1060))
		s.open(at1(1000))
		s.Slot, s.Floor = at1(1058), at1(1058)
		return s
	}
	s := begun()
	for i := range 60 { // one a second
		if next, back := s.take(secondOf(station.InletPressure, 500+i, 1), 0, at1(1060+i)); back {
			if next != 0 || i < 30 || i > 31 {
				t.Errorf("found at sample %d of the block after %d s, want the first one after 30 s", next, i)
			}
			break
		}
		if i == 59 {
			t.Error("a clock set back is not found within a minute")
		}
	}
	s = begun()
	if next, back := s.take(secondOf(station.InletPressure, 500, 300), 0, at1(1061)); back || next != 300 || s.Counts.Late != 300 {
		t.Errorf("redelivery: set back %v, %d of 300 taken, %d late", back, next, s.Counts.Late)
	}
}

// The first sample of one time wins, whatever its block.
func TestDuplicatesAreCounted(t *testing.T) {
	var s Samples
	s.take(secondOf(station.InletPressure, 100, 10), 0, at1(110))
	s.take(secondOf(station.InletPressure, 105, 10), 0, at1(115))
	if n := len(s.Queues[station.InletPressure].T); n != 15 || s.Counts.Duplicate != 5 {
		t.Errorf("%d samples pending, %d duplicates; want 15 and 5", n, s.Counts.Duplicate)
	}
}
