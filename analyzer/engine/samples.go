package engine

import "strokewise/analyzer/station"

const (
	MaxLag      = 10 * station.Second // behind which a channel is silent and no longer awaited (common practice, no source)
	lateLimit   = 30 * station.Second // arrival span of late samples that is a clock step (own choice)
	lateAdvance = 15 * station.Second // of their own times meanwhile (own choice)
	lateFewest  = 10                  // late samples in a row that are a clock step (own choice)
)

// Counts are what the engine turned away or noticed in its input.
type Counts struct {
	Arrival    int64 // samples that bear the time of their arrival
	Late       int64 // behind the watermark, or seen before
	Duplicate  int64 // same channel and time as a pending sample
	ClockSteps int64
	Gaps       int64
	Counter    CounterCounts
}

// CounterCounts are what was odd about the cycle counter.
type CounterCounts struct {
	Resets  int64 // it started again near zero
	Rolls   int64 // it rolled over
	Bounced int64 // increments faster than strokes can follow, dropped
	Back    int64 // readings that slipped back by one or two
}

// Samples holds what has come in and is not worked off yet, and says which slot is next. It knows nothing of what
// is concluded. Fields are exported for snapshots only.
type Samples struct {
	Segment  uint32
	Queues   [station.NumChannels]queue
	Started  bool
	First    station.Instant // first sample of the segment
	Slot     station.Instant // start of the slot to process next
	Floor    station.Instant // samples before it are late
	Counts   Counts
	LateFrom station.Instant // arrival of the first of a run of late samples, 0: none
	LateDev  station.Instant // its device time
	LateN    int
}

// take queues the samples of a block from the i-th on. It returns true, and where it stands, before a sample
// that shows that the clock was set back: what is pending is to be worked off, and a segment to begin.
func (s *Samples) take(b *station.Block, i int, arrival station.Instant) (next int, back bool) {
	q := &s.Queues[b.Channel]
	if i == 0 && b.Len() > 0 && (!s.Started || b.At(0) >= s.Floor) && q.extend(b) {
		if b.At(0) >= s.Floor {
			s.LateFrom = 0
		}
		return b.Len(), false
	}
	for ; i < b.Len(); i++ {
		t := b.At(i)
		if s.Started && t < s.Floor {
			if s.late(t, arrival) {
				return i, true
			}
			continue
		}
		if !q.put(t, b.Values[i]) {
			s.Counts.Duplicate++
			continue
		}
		if t >= s.Floor {
			s.LateFrom = 0
		}
	}
	return i, false
}

// late counts a sample behind the watermark. A run of nothing but late samples whose
// times go on at the pace of their arrival, at most twice as fast, is a clock that was set back: it
// starts a new segment. Redelivered messages come in a burst, a gateway's buffer faster than it was filled.
func (s *Samples) late(t, arrival station.Instant) bool {
	s.Counts.Late++
	if s.LateFrom == 0 || t < s.LateDev || t.Sub(s.LateDev) > 2*arrival.Sub(s.LateFrom)+lateAdvance {
		s.LateFrom, s.LateDev, s.LateN = arrival, t, 0
		return false
	}
	s.LateN++
	return arrival.Sub(s.LateFrom) >= lateLimit && t.Sub(s.LateDev) >= lateAdvance && s.LateN >= lateFewest
}

// nextSegment begins a segment for a clock that was set back.
func (s *Samples) nextSegment() {
	s.Counts.ClockSteps++
	s.Segment++
	s.LateFrom, s.Floor = 0, 0
}

// open fixes the first slot of a segment.
func (s *Samples) open(first station.Instant) {
	s.Started, s.First = true, first
	s.Slot = first.Floor(slotLen)
	s.Floor = s.Slot
}

// clear forgets what is pending.
func (s *Samples) clear() {
	for i := range s.Queues {
		s.Queues[i].clear()
	}
}

// complete returns the time up to which samples are taken as complete: the oldest of the
// channels' newest times, less the lateness; a channel more than 10 s behind is left out.
func (s *Samples) complete(lateness int64) station.Instant {
	newest := s.newest()
	w := newest
	for i := range s.Queues {
		if q := &s.Queues[i]; q.Seen && newest.Sub(q.Newest) <= MaxLag && q.Newest < w {
			w = q.Newest
		}
	}
	return w.Add(-lateness)
}

// newest returns the newest time that was ever taken, 0 before the first.
func (s *Samples) newest() (newest station.Instant) {
	for i := range s.Queues {
		if q := &s.Queues[i]; q.Seen && q.Newest > newest {
			newest = q.Newest
		}
	}
	return newest
}

// oldest returns the time of the oldest pending sample.
func (s *Samples) oldest() (first station.Instant, found bool) {
	for i := range s.Queues {
		if q := &s.Queues[i]; len(q.T) > 0 && (!found || q.T[0] < first) {
			first, found = q.T[0], true
		}
	}
	return first, found
}

// next returns where the next slot ends, or a silence, which reaches up to the slot of the next sample.
func (s *Samples) next() (to station.Instant, silent bool) {
	if next, ok := s.oldest(); ok && next.Sub(s.Slot) > MaxLag {
		return next.Floor(slotLen), true
	}
	return s.Slot.Add(slotLen), false
}
