package engine

import (
	"sort"

	"strokewise/analyzer/station"
)

// queue holds one channel's samples that the watermark has not passed, in time order.
// Fields are exported for snapshots only.
type queue struct {
	T      []station.Instant
	V      []float64
	Newest station.Instant // newest time ever taken
	Seen   bool
}

// extend takes a whole block that lies behind all that was ever taken, in increasing time;
// false: it does not, and nothing was taken.
func (q *queue) extend(b *station.Block) bool {
	n := b.Len()
	if n == 0 || q.Seen && b.At(0) <= q.Newest || !increasing(b) {
		return false
	}
	q.room(n)
	if b.Times != nil {
		q.T = append(q.T, b.Times[:n]...)
	} else {
		for i := range n {
			q.T = append(q.T, b.Start.Add(int64(i)*b.Step))
		}
	}
	q.V = append(q.V, b.Values...)
	q.Newest, q.Seen = q.T[len(q.T)-1], true
	return true
}

func increasing(b *station.Block) bool {
	if b.Times == nil {
		return b.Step > 0 || b.Len() < 2
	}
	for i := 1; i < b.Len(); i++ {
		if b.Times[i] <= b.Times[i-1] {
			return false
		}
	}
	return true
}

// roomStep is by how many samples a queue grows: to double it would waste most of it. Own choice.
const roomStep = 64

// room makes place for n samples more.
func (q *queue) room(n int) {
	if need := len(q.T) + n; need > cap(q.T) {
		need += roomStep - need%roomStep
		q.T = append(make([]station.Instant, 0, need), q.T...)
		q.V = append(make([]float64, 0, need), q.V...)
	}
}

// put inserts a sample unless its time is taken; the first of one identity wins.
func (q *queue) put(t station.Instant, v float64) bool {
	n := len(q.T)
	if n == 0 || t > q.T[n-1] {
		if q.Seen && n == 0 && t <= q.Newest {
			return q.insert(0, t, v)
		}
		q.room(1)
		q.T, q.V = append(q.T, t), append(q.V, v)
		q.Newest, q.Seen = max(q.Newest, t), true
		return true
	}
	i := sort.Search(n, func(i int) bool { return q.T[i] >= t })
	if q.T[i] == t {
		return false
	}
	return q.insert(i, t, v)
}

func (q *queue) insert(i int, t station.Instant, v float64) bool {
	q.room(1)
	q.T, q.V = append(q.T, 0), append(q.V, 0)
	copy(q.T[i+1:], q.T[i:])
	copy(q.V[i+1:], q.V[i:])
	q.T[i], q.V[i] = t, v
	return true
}

// until gives how many samples lie before end.
func (q *queue) until(end station.Instant) int {
	n := len(q.T)
	if n == 0 || q.T[n-1] < end {
		return n
	}
	return sort.Search(n, func(i int) bool { return q.T[i] >= end })
}

// drop removes the first n samples, keeping the memory.
func (q *queue) drop(n int) {
	if n == 0 {
		return
	}
	q.T = q.T[:copy(q.T, q.T[n:])]
	q.V = q.V[:copy(q.V, q.V[n:])]
}

// clear forgets the samples and the newest time, for a new segment.
func (q *queue) clear() { q.T, q.V, q.Newest, q.Seen = q.T[:0], q.V[:0], 0, false }
