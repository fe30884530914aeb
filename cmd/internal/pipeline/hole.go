package pipeline

import (
	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
)

// Awaited are the channels whose silence is a hole. The others may well say nothing for hours.
var Awaited = [...]station.Channel{station.InletPressure, station.OutletPressure}

// Silence is how long a channel is awaited, ns.
const Silence = engine.MaxLag

// Opens reports whether a sample at a time would make the engine go on without a pressure that it has awaited until
// now: what comes of that channel afterwards is late. Ask before the sample is pushed, while nothing of the hole has
// been passed over.
func (u *Unit) Opens(to station.Instant) bool {
	newest := u.newestOfAll()
	for _, c := range Awaited {
		if last, ok := u.Newest(c); ok && newest.Sub(last) <= Silence && to.Sub(last) > Silence {
			return true
		}
	}
	return false
}

func (u *Unit) newestOfAll() (newest station.Instant) {
	for c := range station.NumChannels {
		if t, ok := u.Newest(c); ok {
			newest = max(newest, t)
		}
	}
	return newest
}

// Newest returns the time of a channel's newest sample, false before its first.
func (u *Unit) Newest(c station.Channel) (station.Instant, bool) {
	q := &u.engine.Queues[c]
	return q.Newest, q.Seen
}

// Behind returns the time before which samples are late, 0 before the first, and the segment.
func (u *Unit) Behind() (station.Instant, uint32) { return u.engine.Floor, u.engine.Segment }

// OpenState returns the state that lasts, and since when; false before the first sample.
func (u *Unit) OpenState() (is station.State, since station.Instant, ok bool) {
	s := &u.engine.State
	return s.Current, s.From, u.engine.Started
}
