package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// MaxRate is the highest stroke rate of a loaded piston, 1/s, above which a trace aliases (common
// practice, no source).
const MaxRate = 8.0

// overRate is by how much the piston may be faster than the highest rate stated for it, while it is not
// loaded: filling an empty tank, boosters of two independent models make 9.5 strokes a second. Above it a
// counter bounces.
const overRate = 1.5

// Counter turns readings of a cumulative counter into increments. It survives resets
// (the count starts again near zero), roll-over at 2^15, 2^16, 2^31, 2^32 or a power of
// ten, contact bounce (increments faster than strokes can follow), and a reading that
// slips back by one or two. Fields are exported for snapshots only.
type Counter struct {
	PerCycle bool // counts cycles: two strokes an increment
	Max      float64
	Have     bool
	Value    float64
	At       station.Instant // of the last reading
	Moved    station.Instant // of the last accepted increment
	Every    float64         // s to the last reading from the one before
	Credit   float64         // increments that the rate limit allows now
	Resets   int64           // times the count started again
	Rolls    int64           // roll-overs
	Bounced  int64           // increments dropped as bounce
	Back     int64           // readings that slipped back
	Held     Held            // what comes steadily faster than Max
}

// NewCounter returns a counter for the plate's kind of count and highest rate.
func NewCounter(p *station.Plate) Counter {
	c := Counter{PerCycle: p.Counts == station.CountsCycles, Max: overRate * max(p.MaxRate, MaxRate)}
	if c.PerCycle {
		c.Max /= 2
	}
	return c
}

// Push handles a reading and gives the increments since the last one, in the counter's
// own unit.
func (c *Counter) Push(t station.Instant, v float64) int64 {
	if math.IsNaN(v) {
		return 0
	}
	if !c.Have {
		c.Have, c.Value, c.At, c.Credit = true, v, t, 1
		return 0
	}
	dt := float64(t-c.At) * 1e-9
	c.At, c.Every = t, dt
	c.Credit = min(c.Credit+dt*c.rate(), dt*c.rate()+1)
	n := 0.0
	if v != c.Value {
		n = max(0, c.difference(v))
	}
	late := c.hold(t, dt, n)
	if n == 0 {
		return late
	}
	return late + c.limit(t, n)
}

// difference gives the increments from the kept value to v and keeps v.
func (c *Counter) difference(v float64) float64 {
	old := c.Value
	if v > old {
		c.Value = v
		return v - old
	}
	if old-v <= 2 && v > 0 {
		c.Back++ // the higher reading stays: the next true increment passes it
		return 0
	}
	c.Value = v
	for _, limit := range [...]float64{1 << 15, 1 << 16, 1 << 31, 1 << 32, 1e4, 1e5, 1e6, 1e7, 1e8} {
		if gap := limit - old; gap >= 0 && gap+v <= c.Credit+1 {
			c.Rolls++
			return gap + v
		}
	}
	c.Resets++
	if v <= c.Credit+1 {
		return v // it started again at zero; what ran before the reset is not known
	}
	return 0
}

// early is by what part of an increment one may come too early: readings jitter. At 10 readings a second of a
// counter of cycles, two increments at once are a bounce.
const early = 0.3

// limit drops increments that come faster than the piston can move.
func (c *Counter) limit(t station.Instant, n float64) int64 {
	allowed := math.Floor(c.Credit + early)
	if n > allowed {
		c.Bounced += int64(n - allowed)
		c.Held.Dropped += int64(n - allowed)
		n = allowed
	}
	if n <= 0 {
		return 0
	}
	c.Credit -= n
	c.Moved = t
	return int64(n)
}
