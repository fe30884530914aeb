package engine

import "strokewise/analyzer/station"

// keeper moves values between what the engine works with and what is kept of it: one way to
// keep them, the other way back.
type keeper struct{ back bool }

// keep moves one value.
func keep[T any](k keeper, mine, kept *T) {
	if k.back {
		*mine = *kept
		return
	}
	*kept = *mine
}

// keepCount moves a count.
func keepCount(k keeper, mine *int, kept *int64) {
	if k.back {
		*mine = int(*kept)
		return
	}
	*kept = int64(*mine)
}

// keepList moves a list of fixed length. What a shorter list lacks stays.
func keepList[T any](k keeper, mine []T, kept *[]T) {
	if k.back {
		copy(mine, *kept)
		return
	}
	*kept = append((*kept)[:0], mine...)
}

// keep moves a usual value, with the open block of readings.
func (b *baseline) keep(k keeper, l *station.Baseline) {
	if k.back && l.Blocks == 0 && len(l.Readings) == 0 {
		return
	}
	keep(k, &b.Recent, &l.Recent)
	keep(k, &b.Usual, &l.Usual)
	keepCount(k, &b.Blocks, &l.Blocks)
	keep(k, &b.From, &l.From)
	keep(k, &b.Next, &l.Next)
	if k.back {
		b.N = copy(b.Ring[:baselineRing-1], l.Readings)
		return
	}
	l.Readings = append(l.Readings[:0], b.Ring[:b.N]...)
}

// keep moves the strokes of the booster.
func (w *wear) keep(k keeper, l *station.LearnedBooster) {
	if k.back && l.WatchedFrom == 0 {
		return
	}
	keep(k, &w.Serial, &l.Serial)
	keep(k, &w.Overhauled, &l.Overhauled)
	keep(k, &w.From, &l.WatchedFrom)
	keep(k, &w.Strokes, &l.Strokes)
}

// known returns what of it was learned, for a new stretch of samples.
func (x *edges) known() edges {
	return edges{Limit: x.Limit, Starts: x.Starts, Deep: deepStart{P: x.Deep.P, N: x.Deep.N, Known: x.Deep.Known}}
}
