package live

import "strokewise/analyzer/station"

// Trace is a stretch of a station's recent past.
type Trace struct {
	Inlet, Outlet Line
	Strokes       []station.Stroke
	Intervals     []station.Interval // that have ended
	Restarted     bool               // the clock was set back: what was given before is void
	Full          bool               // the station keeps fine rings
}

// Newest gives the time of the newest sample of inlet or outlet, zero where there is none.
func (l *Live) Newest(k station.Key) station.Instant {
	s := l.find(k)
	if s == nil {
		return 0
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return max(s.newest[0], s.newest[1])
}

// Reach is how far back (ns) the coarsest of the fine rings goes.
const Reach = 120 * station.Minute60

// Trace gives [from, to) from the finest ring that covers it, with at most points bins a
// channel (breaks come on top), strokes and states within.
func (l *Live) Trace(k station.Key, from, to station.Instant, points int) Trace {
	var t Trace
	s := l.find(k)
	if s == nil || to <= from || points <= 0 {
		return t
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for c, line := range [...]*Line{&t.Inlet, &t.Outlet} {
		s.read(c, line, from, to, points)
		line.Break()
	}
	t.Full = s.rings[0] != nil
	t.Strokes = s.strokes.every(nil, func(x station.Stroke) bool { return x.At >= from && x.At < to })
	t.Intervals = s.intervals.every(nil, func(x station.Interval) bool { return x.To > from && x.From < to })
	return t
}

func (s *lately) read(c int, line *Line, from, to station.Instant, points int) {
	for i := range s.rings[c] {
		r := &s.rings[c][i]
		reach := station.Instant((r.newest - int64(len(r.cells)) + 1) * r.span)
		if i < len(s.rings[c])-1 && reach > from {
			continue
		}
		bins := to.Sub(from)/r.span + 1
		group := (bins + int64(points) - 2) / max(int64(points)-1, 1)
		r.read(line, int64(from)/r.span, (int64(to)+r.span-1)/r.span, max(group, 1))
		return
	}
	s.lines[c].read(line, int64(from)/smallSpan, (int64(to)+smallSpan-1)/smallSpan)
}

// Lines gives the means over 15 s of the 30 minutes that end at to.
func (l *Live) Lines(k station.Key) (inlet, outlet Line, to station.Instant) {
	s := l.find(k)
	if s == nil {
		return inlet, outlet, 0
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	to = max(s.newest[0], s.newest[1], s.seeded)
	newest := int64(to) / smallSpan
	for c, line := range [...]*Line{&inlet, &outlet} {
		s.lines[c].read(line, newest-smallBins+1, newest+1)
		line.Break()
	}
	return inlet, outlet, to
}

// Cursor marks how far a reader has come.
type Cursor struct {
	set                bool
	restarts           uint64
	bins               [channels]int64
	strokes, intervals uint64
}

// Since gives what came after the cursor, and moves it: the finest bins (the newest again,
// as it may have grown), strokes and states. The first call only sets the cursor. A
// station without fine rings gives its means.
func (l *Live) Since(k station.Key, at *Cursor) Trace {
	var t Trace
	s := l.find(k)
	if s == nil {
		return t
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	t.Full = s.rings[0] != nil
	if at.set && at.restarts != s.restarts {
		*at = Cursor{set: true, restarts: s.restarts}
		t.Restarted = true
	}
	for c, line := range [...]*Line{&t.Inlet, &t.Outlet} {
		span := smallSpan
		if t.Full {
			span = s.rings[c][0].span
		}
		next := int64(s.newest[c]) / span
		if at.set && next > 0 {
			s.after(c, line, at.bins[c], next)
		}
		at.bins[c] = next
	}
	if at.set {
		t.Strokes = s.strokes.since(nil, at.strokes, nil)
		t.Intervals = s.intervals.since(nil, at.intervals, nil)
	}
	at.set, at.restarts, at.strokes, at.intervals = true, s.restarts, s.strokes.all, s.intervals.all
	return t
}

func (s *lately) after(c int, line *Line, from, to int64) {
	if s.rings[c] == nil {
		s.lines[c].read(line, from, to+1)
		return
	}
	s.rings[c][0].read(line, from, to+1, 1)
}
