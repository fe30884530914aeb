package stroke

import (
	"strokewise/analyzer/station"
)

// Fuse makes strokes from teeth and counter increments. Where a counter is alive it
// fixes the number: the strokes of a cycle are made at its increment, so the number is right within
// a cycle at any moment, and motion.Dater dates the first one. Without a counter every tooth of the
// channel that shows them better is a stroke. Fields are exported for snapshots only.
type Fuse struct {
	PerCycle bool
	Early    int64           // strokes told before the increment that covers them, after a restart
	Teeth    int64           // teeth since the last increment
	Lost     bool            // the counter does not follow the piston: see Distrust
	Counted  bool            // the counter has moved at least once
	Seen     bool            // the counter has been read
	Held     station.Instant // end of the first stroke since LastInc that waits for its increment
	Late     station.Instant // end of the newest one
	LastInc  station.Instant // time of the last increment
	Next     station.Side
	LastAt   station.Instant
	LastEnd  station.Instant // of the last stroke that was told
	Shift    int64           // ns from the notice to the end, while one is told
	Interval Intervals
}

// NewFuse gives a fuse for the plate's kind of count.
func NewFuse(p *station.Plate) Fuse {
	return Fuse{PerCycle: p.Counts == station.CountsCycles, Next: station.SideA}
}

// CounterServes reports whether the number of strokes comes from the counter.
func (f *Fuse) CounterServes() bool { return f.Seen && !f.Lost }

// Distrust counts the strokes from the traces alone until Trust, since the counter was silent while at
// least so many strokes were made. Teeth prove nothing: noise makes them, too. So the caller decides, by
// what the strokes delivered. The strokes since the last increment are made up for: as many as the traces
// showed, where that can be, none of them before floor.
func (f *Fuse) Distrust(at station.Instant, least int64, floor station.Instant, emit func(station.Stroke)) {
	missed := f.Teeth
	if missed < least || missed > mostMissed*least {
		missed = least
	}
	f.spread(at, missed-f.Early, floor, station.MethodTraces, emit)
	f.Lost, f.Early, f.Teeth = true, 0, 0
}

// mostMissed is how many times the least number of strokes may be made up for: consumers may have drawn
// as much again (no source).
const mostMissed = 3

// Trust counts the number of strokes from the counter again.
func (f *Fuse) Trust() { f.Lost, f.Early, f.Teeth = false, 0, 0 }

// Tooth handles a tooth that was noticed at at, of a stroke that ended at end, and calls emit for
// each stroke that it makes. Intervals without a counter are kept between notices, which keep
// step better than the ends do. With a counter it waits for the increment.
func (f *Fuse) Tooth(at, end station.Instant, emit func(station.Stroke)) {
	f.Teeth++
	if !f.CounterServes() {
		f.Shift = end.Sub(at)
		f.emit(at, station.MethodTraces, emit)
		f.Shift = 0
		return
	}
	at = end
	if !f.PerCycle || !f.Counted || at.Sub(f.LastInc) < f.Interval.Median()/3 {
		return
	}
	if f.Held <= f.LastInc {
		f.Held = at
	}
	f.Late = at
}

// Newest gives when the newest stroke ended, told or waiting for its increment.
func (f *Fuse) Newest() station.Instant {
	if f.Held > f.LastInc {
		return max(f.LastAt, f.Late)
	}
	return f.LastAt
}

// Increment handles n increments of the counter read at time at. Strokes that no tooth
// showed are set between the last stroke and at, but not before floor; that of half a cycle at
// half, where that is known. toothed tells
// that the traces can show strokes, which then come from both.
func (f *Fuse) Increment(at station.Instant, n int64, toothed bool, floor, half station.Instant, emit func(station.Stroke)) {
	f.Counted = true
	f.Teeth, f.LastInc = 0, at
	if f.Lost {
		return
	}
	strokes := n
	if f.PerCycle {
		strokes = 2 * n
	}
	strokes -= f.Early
	f.Early = 0
	method := station.MethodCounter
	if toothed {
		method = station.MethodBoth
	}
	if f.PerCycle && strokes%2 == 0 {
		f.Next = station.SideA
	}
	if strokes == 2 && half > floor {
		f.emit(half, method, emit)
		strokes--
	}
	f.spread(at, strokes, floor, method, emit)
	if f.PerCycle {
		f.Next = station.SideA
	}
}

// spread emits strokes that end one usual interval apart, the last one at time at.
func (f *Fuse) spread(at station.Instant, strokes int64, floor station.Instant, m station.Method, emit func(station.Stroke)) {
	if floor < f.LastAt {
		floor = f.LastAt
	}
	gap := f.Interval.Median()
	if room := at.Sub(floor); strokes > 0 && (gap == 0 || gap*strokes > room) {
		gap = room / strokes
	}
	for k := strokes - 1; k >= 0; k-- {
		f.emit(at.Add(-k*gap), m, emit)
	}
}

func (f *Fuse) emit(at station.Instant, m station.Method, emit func(station.Stroke)) {
	if at < f.LastAt {
		at = f.LastAt
	}
	if f.LastAt != 0 {
		f.Interval.Add(at.Sub(f.LastAt))
	}
	f.LastAt = at
	side := f.Next
	if side == station.SideA {
		f.Next = station.SideB
	} else {
		f.Next = station.SideA
	}
	f.LastEnd = max(f.LastEnd, at.Add(f.Shift))
	emit(station.Stroke{At: f.LastEnd, Side: side, Method: m})
}

// Intervals keeps the last stroke intervals.
type Intervals struct {
	Ring [16]int64 // ns
	N    int
	Pos  int
	Half int64 // median, ns
	Low  int64 // lower quartile, ns
}

// Add handles an interval (ns). Pauses over a minute are no stroke intervals.
func (v *Intervals) Add(ns int64) {
	if ns <= 0 || ns > station.Minute60 {
		return
	}
	v.Ring[v.Pos] = ns
	v.Pos = (v.Pos + 1) % len(v.Ring)
	if v.N < len(v.Ring) {
		v.N++
	}
	s := v.sorted()
	v.Half, v.Low = s[v.N/2], s[v.N/4]
}

// Median gives the median of the kept intervals (ns), 0 if there is none.
func (v *Intervals) Median() int64 {
	return v.Half
}

// Spread gives the interquartile range over the median of the kept cycle times (two
// strokes, since the two halves of a cycle differ by design), 0 with fewer than eight.
func (v *Intervals) Spread() float64 {
	if v.N < 8 {
		return 0
	}
	var s [16]int64
	n := v.N / 2
	first := v.Pos + len(v.Ring) - 2*n
	for i := range n {
		s[i] = v.Ring[(first+2*i)%len(v.Ring)] + v.Ring[(first+2*i+1)%len(v.Ring)]
	}
	sortFew(s[:n])
	return float64(s[n*3/4]-s[n/4]) / float64(s[n/2])
}

// Quartile gives the lower quartile of the kept intervals (ns), 0 with fewer than four.
func (v *Intervals) Quartile() int64 {
	if v.N < 4 {
		return 0
	}
	return v.Low
}

func (v *Intervals) sorted() [16]int64 {
	s := v.Ring
	sortFew(s[:v.N])
	return s
}
