package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	clippedAfter = 10 * station.Second // at the very same top, all told
	lively       = 200.0               // Pa within a slot: more than the steps of a sensor without noise
)

// clip follows whether a sensor ends at the top of its range. A live sensor that has noise
// reaches its highest reading once; one that is saturated shows it again and again, and
// nothing else while it does. Fields are exported for snapshots only.
type clip struct {
	Top   float64         // highest reading, Pa gauge
	Range float64         // Pa from lowest to highest within a slot, where the reading moves
	Edges int             // slots whose highest reading is the top and whose lowest is not
	For   int64           // ns at the top
	Since station.Instant // when it first was there
}

// slot takes a slot's readings; s has taken them, too.
func (c *clip) slot(l *level, s *still) bool {
	if l.N == 0 {
		return c.clipped()
	}
	flat := s.For > 0
	if !flat {
		if r := max(l.High-l.Low, math.Abs(l.Mean-l.Before)); c.Range == 0 {
			c.Range = r
		} else {
			c.Range += 0.05 * (r - c.Range)
		}
	}
	switch {
	case c.Top == 0 || l.High > c.Top:
		c.Top, c.Edges, c.For, c.Since = l.High, 0, 0, l.Last
	case l.High < c.Top || c.Top <= vented:
	case flat:
		c.For += slotLen
	default:
		c.Edges++
	}
	return c.clipped()
}

// clipped tells whether the sensor ends at its top.
func (c *clip) clipped() bool {
	return c.For >= clippedAfter && c.Edges >= 2 && c.Range > lively
}

// whyStill says what a reading that stands still may mean.
func (c *clip) whyStill(channel string, value float64) string {
	if value >= c.Top {
		return "the " + channel + " reading stands still at the highest reading seen: its sensor is saturated, or it or its gateway is frozen"
	}
	return "the " + channel + " reading stands still: its sensor or gateway is frozen"
}
