package engine

import (
	"math"

	"strokewise/analyzer/station"
)

// bounces compares the increments that were counted with all that the counter sent: those that come faster
// than a piston can move are bounce of its switch (stroke.Counter leaves them out). It needs neither traces nor a
// header that is known. Fields are exported for snapshots only.
type bounces struct {
	Had     int64   // increments dropped so far
	Counted float64 // increments of this comparison
	Dropped float64
	From    station.Instant
	Told    station.Instant // when more than bounceSays was last told, 0: not
}

// bounceSays is the share of increments that are bounce from which on the figure is that of the bounces, since the
// draw from count to count does not show what was dropped. Own choice: single doubled readings stay below it; a
// third more or less moves the share at which it is told, while the alarm asks for 12 %.
const bounceSays = 0.1

// watchBounces adds a slot in which so many strokes were counted.
func (e *Engine) watchBounces(strokes int64, end station.Instant) {
	b := &e.Mismatch.Bounces
	dropped := max(0, e.Counter.Bounced-b.Had)
	b.Had = e.Counter.Bounced
	if !e.Fuse.CounterServes() {
		b.Counted, b.Dropped, b.From = 0, 0, 0
		return
	}
	if b.From == 0 {
		b.From = end
	}
	b.Counted, b.Dropped = b.Counted+float64(strokes)/float64(e.perCount()), b.Dropped+float64(dropped)
	if b.Counted >= missedCounts || b.Counted >= missedEarly && b.share()-b.band() > bounceSays {
		e.compareBounces(end)
	}
}

// share returns the share of all increments that are bounce.
func (b *bounces) share() float64 { return b.Dropped / (b.Counted + b.Dropped) }

// band returns half of its 90 % band (binomial).
func (b *bounces) band() float64 { return z90 * math.Sqrt(b.Dropped+1) / (b.Counted + b.Dropped) }

// compareBounces sets the figure where bounce is told, or where it was and has ended, and begins anew.
func (e *Engine) compareBounces(end station.Instant) {
	b, c := &e.Mismatch.Bounces, &e.Mismatch.Counts
	v, band, all := -b.share(), b.band(), b.Counted+b.Dropped
	if is := -v > bounceSays; is || b.Told != 0 {
		e.Est[station.CountMismatch] = station.Estimate{Value: v, Low: v - band, High: min(0, v+band), Method: station.MethodCounter, Confidence: 0.9, From: b.From, At: end}
		e.Basis.Compare = compared{int64(b.Counted) * e.perCount(), int64(all) * e.perCount()}
		c.Told, c.Off, b.Told = end, v, 0
		if is {
			b.Told = end
		}
	}
	b.Counted, b.Dropped, b.From = 0, 0, 0
}

// bounced reports whether what the counter sends was lately seen to be bounce.
func (b *bounces) bounced(t station.Instant) bool { return b.Told != 0 && t.Sub(b.Told) < missedFresh }
