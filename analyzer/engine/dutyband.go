package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// coasts is for how long, ns, the piston may travel before its draw shows, and behind it: the air shut
	// into the drive chamber pushes on while the governor is closed. Virtual stations of the set that is free
	// to look at coast for 0.2 to 1.5 s; that is no source for others. A third more widens the band by as
	// much a run.
	coasts = station.Second
	// steadyFor is how long, ns, the outlet is watched for a fall, own choice.
	steadyFor = 5 * station.Second
	// steadyFall is the share of the outlet's pressure that it falls by meanwhile where something is drawn from
	// a tank that nothing fills. Own choice, no source: a third more makes the band wider.
	steadyFall = 0.001
	// inFed is the share of the fed time by which the times of states err besides, own choice.
	inFed = 0.01
)

// unsure follows for how long the piston may travel though it is told to stand, and the reverse:
//
//   - for a moment at either end of a run, see coasts;
//   - while the counter alone shows that it goes on, and the inlet rests;
//   - without a counter, while the outlet does not fall: strokes too slow to show at the inlet
//     may deliver what is drawn.
//
// Fields are exported for snapshots only.
type unsure struct {
	Works  bool
	Since  station.Instant // of the present run or standing time, as of the slot that told it
	Over   int64           // ns of the standing time that may be travel, so far
	MarkAt station.Instant // from when the outlet is watched for a fall
	Mark   float64         // the outlet then, Pa gauge
}

// slot handles the slot [start, end) told as state s, and adds to the minute what it leaves open.
func (u *unsure) slot(e *Engine, s station.State, start, end station.Instant) {
	if u.Since == 0 {
		u.Since = start
	}
	if works := s.Working(); works != u.Works || !s.Fed() {
		u.turn(e, works && s.Fed(), start)
	}
	switch {
	case !s.Fed():
	case u.Works:
		if start.Sub(u.Since) < coasts || e.followed() && e.Feed.Rests {
			e.Min.Less += end.Sub(start)
		}
	case end.Sub(u.Since) <= coasts:
		u.over(e, end.Sub(start))
	case !e.Fuse.CounterServes():
		u.watch(e, end)
	}
}

// turn begins a run or a standing time. What came just before a run may belong to it.
func (u *unsure) turn(e *Engine, works bool, at station.Instant) {
	if works && !u.Works {
		u.over(e, min(coasts, max(0, at.Sub(u.Since)-u.Over)))
	}
	*u = unsure{Works: works, Since: at}
}

// over adds ns of standing that may be travel.
func (u *unsure) over(e *Engine, ns int64) {
	u.Over += ns
	e.Min.More += ns
}

// watch adds a stretch in which the outlet did not fall.
func (u *unsure) watch(e *Engine, end station.Instant) {
	p2 := e.Outlet.Mean
	noise := 4 * e.Ends.Out.NoiseRaw / math.Sqrt(float64(max(1, e.Outlet.N)))
	switch {
	case u.MarkAt == 0 || p2 < u.Mark-max(steadyFall*u.Mark, noise):
		u.MarkAt, u.Mark = end, p2
	case end.Sub(u.MarkAt) >= steadyFor:
		u.over(e, end.Sub(u.MarkAt))
		u.MarkAt, u.Mark = end, p2
	}
}

// strokingBand sets the 90 % band of the minute's stroking time.
func (m *minute) strokingBand() {
	o := &m.M
	work := o.StateNs[station.Charging] + o.StateNs[station.Stroking]
	fed := work + o.StateNs[station.Holding] + o.StateNs[station.Starved]
	wide := int64(inFed * float64(fed))
	o.StrokingLow = max(0, work-m.Less-wide)
	o.StrokingHigh = min(fed, work+m.More+wide)
}
