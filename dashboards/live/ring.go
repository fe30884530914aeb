package live

import (
	"math"

	"strokewise/analyzer/station"
)

// cell holds the extremes of one bin of time. lap counts how often the ring has gone
// round, so that an old cell is known by its lap and nothing need be cleared.
type cell struct {
	lap       uint32 // 0: never written
	low, high float32
}

// ring holds one channel's extremes in bins of equal length. The bin of a sample follows
// from its time alone, and extremes do not mind repetition or order.
type ring struct {
	span   int64 // ns a bin
	newest int64 // number of the newest bin, counted from the epoch
	cells  []cell
	here   *cell // of the bin that was written last, which begins at begin
	begin  int64
}

func newRing(span, covers int64) ring {
	return ring{span: span, cells: make([]cell, covers/span)}
}

// put takes one sample; one older than the ring is left out.
func (r *ring) put(t station.Instant, v float32) {
	if d := int64(t) - r.begin; r.here != nil && d >= 0 && d < r.span {
		r.here.low, r.here.high = min(r.here.low, v), max(r.here.high, v)
		return
	}
	n := int64(t) / r.span
	size := int64(len(r.cells))
	if n <= r.newest-size || n < size {
		return
	}
	r.newest = max(r.newest, n)
	c, lap := &r.cells[n%size], uint32(n/size)
	r.here, r.begin = c, n*r.span
	if c.lap != lap {
		*c = cell{lap, v, v}
		return
	}
	c.low, c.high = min(c.low, v), max(c.high, v)
}

// at gives the cell of bin n, nil where no sample fell into it.
func (r *ring) at(n int64) *cell {
	size := int64(len(r.cells))
	if n > r.newest || n <= r.newest-size || n < size {
		return nil
	}
	if c := &r.cells[n%size]; c.lap == uint32(n/size) {
		return c
	}
	return nil
}

// reset forgets everything.
func (r *ring) reset() {
	r.newest, r.here = 0, nil
	clear(r.cells)
}

// read appends the bins [from, to) to l, group bins of the ring in one. A gap of more
// than five times the usual distance breaks the line.
func (r *ring) read(l *Line, from, to, group int64) {
	from = max(from, r.newest-int64(len(r.cells))+1)
	to = min(to, r.newest+1)
	for n := from - from%group; n < to; n += group {
		low, high := float32(math.Inf(1)), float32(math.Inf(-1))
		for k := range group {
			if c := r.at(n + k); c != nil && n+k >= from {
				low, high = min(low, c.low), max(high, c.high)
			}
		}
		if low <= high {
			l.add(station.Instant(n*r.span), low, high)
		}
	}
	l.Step = r.span * group
}

// mean is a bin of the small line.
type mean struct {
	lap uint32
	n   uint32
	sum float64
}

// small holds one channel's means over 15 s for 30 min. A repeated sample weighs twice in
// its bin, which moves the mean of a bin within its own extremes only.
type small struct {
	newest int64
	here   int   // index of the bin that was written last, which begins at begin
	begin  int64 // 0: none was
	cells  [smallBins]mean
}

const (
	smallSpan = 15 * station.Second
	smallBins = 120
)

func (r *small) put(t station.Instant, v float64) {
	if d := int64(t) - r.begin; r.begin > 0 && d >= 0 && d < smallSpan {
		c := &r.cells[r.here]
		c.n++
		c.sum += v
		return
	}
	n := int64(t) / smallSpan
	if n <= r.newest-smallBins || n < smallBins {
		return
	}
	r.newest = max(r.newest, n)
	c, lap := &r.cells[n%smallBins], uint32(n/smallBins)
	r.here, r.begin = int(n%smallBins), n*smallSpan
	if c.lap != lap {
		*c = mean{lap: lap}
	}
	c.n++
	c.sum += v
}

// fill gives an empty bin a value.
func (r *small) fill(t station.Instant, v float64) {
	n := int64(t) / smallSpan
	if math.IsNaN(v) || n < smallBins || n > r.newest-smallBins && r.cells[n%smallBins].lap == uint32(n/smallBins) {
		return
	}
	r.put(t, v)
}

func (r *small) read(l *Line, from, to int64) {
	for n := max(from, r.newest-smallBins+1, smallBins); n < min(to, r.newest+1); n++ {
		if c := &r.cells[n%smallBins]; c.lap == uint32(n/smallBins) {
			v := float32(c.sum / float64(c.n))
			l.add(station.Instant(n*smallSpan), v, v)
		}
	}
	l.Step = smallSpan
}
