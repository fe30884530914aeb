package balance

import (
	"strokewise/analyzer/station"
)

const (
	// cellLen, ns, is the shortest cell: a tenth of a quick stroke. Own choice.
	cellLen = 40 * station.Millisecond
	// kept is how many cells are kept: 10 s at least, a slow cycle.
	kept = 256
	// longestStep, ns: more between two samples is a gap. Own choice.
	longestStep = station.Second / 2
)

// cells keeps the inlet of the last seconds in short means. Fields are exported for snapshots only.
type cells struct {
	Ring [kept]cell
	N    int             // ever; the newest is N-1 modulo kept
	From station.Instant // first sample of the open cell
	Sum  float64         // Pa, of the open cell
	T    float64         // s since From, sum over the samples of the open cell
	Cnt  int             // samples of the open cell
	Prev station.Instant // newest sample
	End  station.Instant // newest sample of the newest cell
}

// cell is the mean of the samples of a cell at their mean time.
type cell struct {
	At  uint32  // ticks of 1,024 ns, modulo 2^32
	P   float32 // Pa absolute
	Dt  float32 // s that it stands for, 0: behind a gap
	Cnt float32 // samples
}

// add adds a sample.
func (c *cells) add(t station.Instant, p float64) {
	if c.Cnt > 0 && t.Sub(c.From) >= cellLen {
		c.close()
	}
	if c.Cnt == 0 {
		c.From = t
	}
	c.Sum += p
	c.T += seconds(c.From, t)
	c.Cnt++
	c.Prev = t
}

// close puts the open cell into the ring.
func (c *cells) close() {
	n := float64(c.Cnt)
	k := cell{At: ticks(c.From.Add(ns(c.T / n))), P: float32(c.Sum / n), Cnt: float32(n)}
	if d := c.Prev.Sub(c.End); c.End != 0 && d <= longestStep {
		k.Dt = float32(d) * 1e-9
	}
	c.Ring[c.N%kept] = k
	c.N++
	c.End, c.Sum, c.T, c.Cnt = c.Prev, 0, 0, 0
}

func ticks(t station.Instant) uint32 { return uint32(t >> 10) }

// at returns the mean time of a kept cell, to a tick. None is older than the 73 minutes that
// ticks tell: a pause of half a second ends what is integrated.
func (c *cells) at(i int) station.Instant {
	return c.End.Add(-int64(ticks(c.End)-c.Ring[i%kept].At) << 10)
}

// oldest returns the index of the oldest kept cell.
func (c *cells) oldest() int { return max(0, c.N-kept) }

// first returns the index of the first kept cell at or after a time.
func (c *cells) first(t station.Instant) int {
	i := c.N
	for i > c.oldest() && c.at(i-1) >= t {
		i--
	}
	return i
}

// cellMean is the mean of N samples at their mean time, Pa absolute.
type cellMean struct {
	At   station.Instant
	P, N float64
}

// mean returns the mean of the cells in [from, to); false where there are none.
func (c *cells) mean(from, to station.Instant) (m cellMean, ok bool) {
	t := 0.0
	for i := c.first(from); i < c.N && c.at(i) < to; i++ {
		k := &c.Ring[i%kept]
		n := float64(k.Cnt)
		m.P += float64(k.P) * n
		t += seconds(from, c.at(i)) * n
		m.N += n
	}
	if m.N == 0 {
		return m, false
	}
	m.P /= m.N
	m.At = from.Add(ns(t / m.N))
	return m, true
}

// waits is how many readings of the header wait for a cycle: two a second, for 8 s.
const waits = 16

// sensed keeps readings of the header, the oldest first. Fields are exported for snapshots only.
type sensed struct {
	Ring [waits]cellMean
	N    int
}

// add adds a reading; where too many wait the oldest goes.
func (s *sensed) add(m cellMean) {
	if s.N == waits {
		s.drop()
	}
	s.Ring[s.N] = m
	s.N++
}

func (s *sensed) drop() {
	copy(s.Ring[:], s.Ring[1:s.N])
	s.N--
}

// next removes and returns the oldest reading up to a time.
func (s *sensed) next(to station.Instant) (m cellMean, ok bool) {
	if s.N == 0 || s.Ring[0].At > to {
		return m, false
	}
	m = s.Ring[0]
	s.drop()
	return m, true
}
