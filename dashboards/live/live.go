// Package live keeps what came in lately, for pages: pressures in bins of time, strokes
// and states of each station. It is written by the partitions (one writer a station) and
// read by many.
package live

import (
	"math"
	"sync"

	"strokewise/analyzer/station"
)

// The fine rings: length of a bin and how far they reach back.
var fine = [...]struct{ span, covers int64 }{
	{20 * station.Millisecond, 60 * station.Second},
	{200 * station.Millisecond, 15 * station.Minute60},
	{2 * station.Second, Reach},
}

const (
	channels      = 2    // inlet and outlet
	mostStrokes   = 4096 // kept of a station with fine rings
	mostIntervals = 512
)

// Usual is how many stations keep fine rings where nobody says otherwise.
const Usual = 200

// Live holds the rings of all stations. Memory is bounded: a station takes 4 kB for the
// means of the last 30 minutes; each of the first so many stations beside that 266 kB for
// extremes (11,100 bins of 12 bytes, two channels), at most 64 kB for strokes and 16 kB
// for states. So 200 full stations and 800 others take 74 MB at most.
type Live struct {
	full int

	mu       sync.RWMutex
	stations map[station.Key]*lately
}

// lately is what came in lately of one station.
type lately struct {
	mu        sync.Mutex
	lines     [channels]small
	rings     [channels][]ring // none unless the station is full
	newest    [channels]station.Instant
	seeded    station.Instant // end of the newest minute taken from the history
	segment   uint32
	restarts  uint64
	strokes   queue[station.Stroke]
	intervals queue[station.Interval]
}

// New gives rings of which the first full stations are kept in detail.
func New(full int) *Live { return &Live{full: full, stations: make(map[station.Key]*lately)} }

func (l *Live) find(k station.Key) *lately {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.stations[k]
}

// of gives a station's rings, new ones where there are none.
func (l *Live) of(k station.Key) *lately {
	if s := l.find(k); s != nil {
		return s
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.stations[k]
	if s == nil {
		s = &lately{}
		if len(l.stations) < l.full {
			s.detail()
		}
		l.stations[k] = s
	}
	return s
}

func (s *lately) detail() {
	for c := range s.rings {
		for _, f := range fine {
			s.rings[c] = append(s.rings[c], newRing(f.span, f.covers))
		}
	}
	s.strokes.most, s.intervals.most = mostStrokes, mostIntervals
}

// Samples takes blocks as they arrive; repeated and disordered ones do no harm. It keeps
// inlet and outlet pressure and does not allocate once the station is known.
func (l *Live) Samples(k station.Key, blocks []station.Block) {
	s := l.of(k)
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range blocks {
		if blocks[i].Channel < channels {
			s.block(&blocks[i])
		}
	}
}

func (s *lately) block(b *station.Block) {
	c := b.Channel
	rings := s.rings[c]
	for i, v := range b.Values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		t := b.At(i)
		s.newest[c] = max(s.newest[c], t)
		s.lines[c].put(t, v)
		for r := range rings {
			rings[r].put(t, float32(v))
		}
	}
}

// Stroke takes a stroke.
func (l *Live) Stroke(k station.Key, stroke station.Stroke) {
	s := l.of(k)
	s.mu.Lock()
	s.strokes.put(stroke)
	s.mu.Unlock()
}

// Interval takes a state that has ended.
func (l *Live) Interval(k station.Key, v station.Interval) {
	s := l.of(k)
	s.mu.Lock()
	s.intervals.put(v)
	s.mu.Unlock()
}

// behind is how far the clock must have gone back to start the rings afresh; less just
// writes into bins that are there.
const behind = 60 * station.Second

// Segment takes the analyzer's word on the station's clock: its segment and event time.
// Where a new segment lies behind what the rings hold, they start afresh. Old samples
// alone do not do that: they may have been delivered late.
func (l *Live) Segment(k station.Key, segment uint32, at station.Instant) {
	s := l.of(k)
	s.mu.Lock()
	defer s.mu.Unlock()
	if segment == s.segment {
		return
	}
	s.segment = segment
	if at == 0 || max(s.newest[0], s.newest[1]).Sub(at) < behind {
		return
	}
	s.restarts++
	s.seeded = 0
	s.newest, s.lines = [channels]station.Instant{}, [channels]small{}
	for c := range s.rings {
		for r := range s.rings[c] {
			s.rings[c][r].reset()
		}
	}
	s.strokes.drop()
	s.intervals.drop()
}
