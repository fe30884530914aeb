package engine

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

const (
	// floorSpan is how many minutes in a row a steady draw is the least of. Consumers of a cycle pause
	// within it. Own choice.
	floorSpan = 10
	// floorSlots is how many slots of a minute must show the draw: all but 5 s.
	floorSlots = 110
	// floorFirst is the time, minutes, in which the first usual floor is learned. Own choice.
	floorFirst = 5
	// floorPart is the length of a part of the history, hours: a steady draw becomes usual when a
	// whole part has passed behind it, so that a new one stays visible for half a day to a day. Own choice.
	floorPart = 12
)

// drawFloor follows the least that leaves the outlet, by the balance of falls: what is drawn at every
// moment of ten minutes is a leak or a consumer that never pauses, whatever others draw beside
// it. A step of it against the usual one shows a new leak on a station that works. Fields are
// exported for snapshots only.
type drawFloor struct {
	Least  [floorSpan]float64 // m³/s ANR, of the last minutes, the newest last
	N      int                // minutes in a row
	Open   float64            // least of the open minute
	Slots  int                // of it
	Known  int                // minutes with a floor, ever, at most floorFirst
	Usual  float64            // highest usual floor, m³/s ANR
	Part   [2]float64         // highest of the present and the last part of the history
	PartAt int64              // number of the present part, since 1970
}

// watchFloor handles the slot that ended, after watchFalls.
func (e *Engine) watchFloor(end station.Instant) {
	f, d := &e.Falls, &e.LeastDraw
	if e.flowKnown(end) {
		if d.Slots == 0 || f.Flow < d.Open {
			d.Open = f.Flow
		}
		d.Slots++
	}
	if end.Floor(station.Minute60) == end {
		d.minute(end)
	}
	if end.Floor(station.Second) == end {
		e.stateFloorDraw(end)
	}
}

// minute closes the open minute.
func (d *drawFloor) minute(end station.Instant) {
	if d.Slots < floorSlots {
		d.N = 0
	} else {
		copy(d.Least[:], d.Least[1:])
		d.Least[floorSpan-1] = max(0, d.Open)
		d.N = min(d.N+1, floorSpan)
	}
	d.Slots = 0
	if d.N == floorSpan {
		d.learn(d.floor(), int64(end)/(floorPart*60*station.Minute60))
	}
}

// floor returns the least draw of the span and of the open minute: what ends shows at once.
func (d *drawFloor) floor() float64 {
	least := math.Inf(1)
	if d.Slots > 0 {
		least = max(0, d.Open)
	}
	return min(least, slices.Min(d.Least[:]))
}

// learn adds a floor to the history; part is the number of the present part of it.
func (d *drawFloor) learn(floor float64, part int64) {
	if d.Known < floorFirst {
		d.Known++
		d.Usual = max(d.Usual, floor)
	}
	if part != d.PartAt {
		d.Usual = max(d.Usual, d.Part[1])
		d.Part[1], d.Part[0], d.PartAt = d.Part[0], 0, part
	}
	d.Part[0] = max(d.Part[0], floor)
	d.Usual *= 1 - 60/drawFades
}

// stateFloorDraw states the steady draw and the usual one.
func (e *Engine) stateFloorDraw(end station.Instant) {
	d := &e.LeastDraw
	now, usual := &e.Est[station.DrawFloor], &e.Est[station.DrawFloorUsual]
	if d.N < floorSpan {
		*now = station.Unknown(firstReasons[station.DrawFloor])
	} else {
		*now = station.Estimate{Value: d.floor(), Method: e.Est[station.OutletDraw].Method, Confidence: 0.6, From: end.Add(-floorSpan * station.Minute60), At: end}
	}
	if *usual = station.Unknown(firstReasons[station.DrawFloorUsual]); d.Known >= floorFirst {
		*usual = station.Estimate{Value: d.Usual, Method: station.MethodTrend, Confidence: 0.6, At: end}
	}
}

func (e *Engine) drawFloorInputs() []station.Input {
	d := &e.LeastDraw
	return []station.Input{
		computed("least of the last ten minutes and since", 60e3*d.floor(), "L/min ANR"),
		computed("least of the last whole minute", 60e3*d.Least[floorSpan-1], "L/min ANR"),
		measured("minutes in a row", float64(d.N), ""),
	}
}

func (e *Engine) drawFloorUsualInputs() []station.Input {
	d := &e.LeastDraw
	return []station.Input{
		computed("highest usual floor", 60e3*d.Usual, "L/min ANR"),
		computed("highest of the present half day, not yet usual", 60e3*d.Part[0], "L/min ANR"),
		assumed("a half day must pass before a floor is usual, and it fades over", drawFades/86400, "d", "own choice"),
	}
}
