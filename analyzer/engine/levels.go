package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	bandSpan = 5 * station.Minute60 // a compressor's load and unload takes 20 to 300 s (pneumatics of headers, from memory)
	fewest   = 20                   // slots of a band that show its ends (own choice)
)

// band follows the least and the greatest of a value over the last one to two spans of bandSpan. Fields
// are exported for snapshots only.
type band struct {
	From     station.Instant // of the present span
	Now, Old span
}

// span is a stretch of values.
type span struct {
	Low, High float64
	N         int
	Known     bool // it is of a whole bandSpan at least, and of enough values
}

func (s *span) put(x float64) {
	if s.N == 0 {
		s.Low, s.High = x, x
	}
	s.Low, s.High, s.N = min(s.Low, x), max(s.High, x), s.N+1
}

// has reports whether x lies in the span or within slack of it.
func (s span) has(x, slack float64) bool { return x > s.Low-slack && x < s.High+slack }

// moved returns the span moved by an amount.
func (s span) moved(by float64) span {
	s.Low, s.High = s.Low+by, s.High+by
	return s
}

// pass notes that time has come to end. A span without a value keeps the one before: what was seen last
// holds until something else is seen.
func (b *band) pass(end station.Instant) {
	switch {
	case b.From == 0 || b.From > end:
		b.From = end
	case end.Sub(b.From) >= bandSpan:
		if b.From = end; b.Now.N > 0 {
			b.Old, b.Now = b.Now, span{}
		}
	}
}

// all returns both spans as one.
func (b *band) all() span {
	s := b.Old
	if b.Now.N > 0 {
		if s.N == 0 {
			s = b.Now
		}
		s.Low, s.High, s.N = min(s.Low, b.Now.Low), max(s.High, b.Now.High), b.Old.N+b.Now.N
	}
	s.Known = b.Old.N > 0 && s.N >= fewest
	return s
}

// level notes the slot's level, where the reading rests.
func (j *jump) level(l *level, rests bool, end station.Instant) {
	b := &j.Levels
	if j.Found != 0 {
		b = &j.Since
	}
	b.pass(end)
	if rests && l.N > 0 {
		b.Now.put(l.Mean)
		j.Rested = end
	}
}

// edges notes the largest change from sample to sample of a slot in which the piston works.
func (j *jump) edges(l *level, d *stroke.Trace, rests bool, end station.Instant) {
	j.Edges.pass(end)
	if rests || l.N < fewSamples || l.High-l.Low < leastJump/2 || j.At != 0 && j.Slots == 0 {
		return
	}
	most := 0.0
	for n := d.N - int64(l.N); n < d.N-2; n++ {
		if by, ok := d.Edge(n); ok {
			most = max(most, math.Abs(by))
		}
	}
	j.Edges.Now.put(most)
}

// watchInletLevels believes an inlet again that has rested where it did before the step, for longer than
// a compressor's load and unload take: then it was the header, or the sensor was mended.
func (e *Engine) watchInletLevels() {
	j, h := &e.Doubt.Jump.In, &e.Doubt.Held
	if j.Found == 0 || h.Is != jumped || h.Who != inletDoubted {
		return
	}
	slack := jumpSlack*math.Abs(j.Found) + 2e3
	if s := j.Since.all(); s.Known && j.Since.Now.N >= fewest && j.Kept.has(s.Low, slack) && j.Kept.has(s.High, slack) {
		e.Doubt.clear()
	}
}
