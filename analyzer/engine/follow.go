package engine

import (
	"strokewise/analyzer/feed"
	"strokewise/analyzer/station"
)

// followRate is the least sampling rate, Hz, at which the inlet shows when the piston stands. Common
// practice, no source.
const followRate = 8

// follow lets the follower of the header take the slot's samples.
func (e *Engine) follow(start, end station.Instant) {
	in, out := &e.Queues[station.InletPressure], &e.Queues[station.OutletPressure]
	n, k := in.until(end), out.until(end)
	c := feed.Context{
		InNoise: e.Ends.In.Noise(), OutNoise: e.Ends.Out.Noise(),
		Usual: float64(e.usualInterval()) * 1e-9, Atmosphere: float64(e.Plate.AmbientPressure()),
	}
	if x, ok := e.headerNow(start); ok {
		c.Header = x
	}
	e.Feed.Samples(start, end, feed.Series{T: in.T[:n], V: in.V[:n]}, feed.Series{T: out.T[:k], V: out.V[:k]}, &c)
}

// followed reports whether the inlet shows when the piston stands: it is sampled fast enough, is
// believed, and the header was seen.
func (e *Engine) followed() bool {
	return e.Feed.At != 0 && e.Ends.In.Rate() >= followRate && e.Doubt.Who&inletDoubted == 0
}

// hiddenTravel reports whether less than half of what n strokes draw was seen before they ended at t,
// though they were no creep. Strokes from end to end within a rest are hidden whatever they seem to
// draw: the header was taken for lower than it is.
func (e *Engine) hiddenTravel(t station.Instant, n int64) bool {
	if !e.followed() || e.passing() || t.Sub(e.Feed.EndAt) > n*station.SlowestStroke {
		return false
	}
	if f := &e.Feed; f.Rests && f.EndAt > f.Since {
		return true
	}
	if full := e.Pace.Full; full > 0 && !e.Pace.Timed && e.Fuse.CounterServes() {
		return e.Ends.DrawnBy(t)-e.Counted < float64(n)*full/2
	}
	return !e.Feed.DrewSinceEnd(t)
}
