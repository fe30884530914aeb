package engine

import "strokewise/analyzer/station"

// slowFigures sets the figures that are looked at every ten seconds.
func (e *Engine) slowFigures(end station.Instant) {
	if end.Floor(slowEvery) != end {
		return
	}
	if e.Doubt.Who == 0 {
		e.headerStatic(end)
		if e.estimateConductance() {
			e.estimateLine(end)
		}
		e.reachable()
		e.loadFigures(end)
		e.slowStrokes(end)
	}
	e.startFigures(end)
	e.wearFigure(end)
}

// newSegment drops what is open when the station's clock steps. What was learned stays; times
// of the old clock do not.
func (e *Engine) newSegment() {
	e.Hdr.At, e.Hdr.RestAt, e.Hdr.Pair = 0, 0, pair{}
	e.Reach.FlatFrom, e.Speed.Begin = 0, 0
	e.Starts = starts{}
	e.Holds.Top, e.Holds.Strokes = 0, 0
	for _, b := range [...]*baseline{&e.Line.Base, &e.Speed.Base, &e.Holds.Base} {
		b.N, b.Next = 0, 0
	}
	e.Supply.RestAt = 0
	e.Bal.Break()
}
