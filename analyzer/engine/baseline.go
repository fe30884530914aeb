package engine

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

const (
	baselineRing = 15 // readings of a block (own choice: their median's error is a third of a reading's)
	// baselineMemory is the time, ns, over which the usual value follows the present one: a
	// month, so that what sets in within days stands out (own choice, no source).
	baselineMemory = 30 * 24 * 60 * station.Minute60
	settleBlocks   = 3 // over which the usual value is a plain mean (own choice, no source)
)

// baseline tells a station's usual value of a figure from its present one, by medians of
// fifteen readings each. Fields are exported for snapshots only.
type baseline struct {
	Ring   [baselineRing]float64
	N      int
	From   station.Instant // of the present block's first reading
	Next   station.Instant // before which no reading is taken
	Recent float64         // median of the last full block
	Usual  float64
	Blocks int
}

// put takes a reading, one in every ns at most, and tells whether a block is full.
func (b *baseline) put(x float64, at station.Instant, every int64) bool {
	if at < b.Next {
		return false
	}
	if b.N == 0 {
		b.From = at
	}
	b.Next = at.Add(every)
	b.Ring[b.N] = x
	if b.N++; b.N < baselineRing {
		return false
	}
	slices.Sort(b.Ring[:])
	b.Recent, b.N = b.Ring[baselineRing/2], 0
	b.Blocks++
	w := min(1, float64(at.Sub(b.From))/float64(baselineMemory))
	if b.Blocks <= settleBlocks && math.Abs(b.Recent-b.Usual) < 0.1*math.Abs(b.Usual) {
		w = 1 / float64(b.Blocks)
	}
	if b.Blocks == 1 {
		w = 1
	}
	b.Usual += w * (b.Recent - b.Usual)
	return true
}

// change gives the present value over the usual one, less one; false until there are two
// blocks to compare.
func (b *baseline) change() (float64, bool) {
	if b.Blocks < 2 || b.Usual == 0 {
		return 0, false
	}
	return b.Recent/b.Usual - 1, true
}
