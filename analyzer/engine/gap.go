package engine

import "strokewise/analyzer/station"

// gap closes the time up to the slot of the next sample as blind. It takes the same time for any length.
//
// The law of a jump: the interval is one, the open minute and the one of the next sample get their blind parts, and the
// whole minutes between are one Gap. There is no step in between, so nothing that counts steps or slots
// grows, and what goes by differences of time sees the whole length at the next one. What learns
// minute by minute sees two minutes without anything in them, the first and the last.
func (e *Engine) gap(to station.Instant) {
	e.Counts.Gaps++
	e.enter(station.Blind, e.Slot, station.StateReason{Is: station.SamplesGap})
	e.Inlet, e.Outlet = level{}, level{}
	e.Ends.Reset()
	e.Feed.Reset()
	e.Dates.Reset()
	e.Bal.Break()
	e.Act.gap()
	e.Leak.reset()
	e.Starts.gap()
	e.Rounds.stop()
	e.Falls.stop(true)
	e.stopAir()
	if e.Slot > e.Min.M.Start {
		e.blindUntil(min(to, e.Min.M.Start.Add(station.Minute60)))
	}
	if whole := to.Floor(station.Minute60); whole > e.Slot {
		e.silence(whole)
	}
	e.blindUntil(to)
}

// blindUntil adds blind time to the open minute, in which it ends.
func (e *Engine) blindUntil(to station.Instant) {
	e.Min.add(station.Blind, to.Sub(e.Slot))
	e.Slot, e.Floor = to, to
	e.closeMinute(to)
}

// silence passes over the whole minutes up to end.
func (e *Engine) silence(end station.Instant) {
	from := e.Slot
	for _, start := range [...]station.Instant{from, end.Add(-station.Minute60)} {
		m := station.Minute{Start: start, Segment: e.Segment, Covered: station.Minute60}
		m.StateNs[station.Blind] = station.Minute60
		e.steadyMinute(&m)
		e.leakMinute(&m)
	}
	e.obs.Gap(station.Gap{From: from, To: end, Segment: e.Segment})
	e.Slot, e.Floor = end, end
	e.openMinute(end)
}
