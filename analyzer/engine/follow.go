package engine

import (
	"fmt"
	"strokewise/analyzer/feed"
	"strokewise/analyzer/station"
)

// follow lets the header's follower take the slot's samples.
func (e *Engine) follow(start, end station.Instant) {
	in, out := &e.Queues[station.InletPressure], &e.Queues[station.OutletPressure]
	n, k := in.until(end), out.until(end)
	c := feed.Context{InNoise: e.Ends.In.Noise(), OutNoise: e.Ends.Out.Noise(), Usual: float64(e.usualInterval()) * 1e-9, Atmosphere: float64(e.Plate.AmbientPressure())}
	if x, ok := e.headerNow(start); ok {
		c.Header = x
	}
	e.Feed.Samples(start, end, in.T[:n], in.V[:n], out.T[:k], out.V[:k], &c)
}

// followed reports whether the inlet shows when the piston stands: it is sampled fast enough, and
// the header was seen.
func (e *Engine) followed() bool {
	return e.Feed.At != 0 && e.Ends.In.Rate() >= 8 && e.Doubt.Who&inletDoubted == 0
}

// hiddenTravel reports whether less than half of what n strokes draw was seen before they ended at t.
func (e *Engine) hiddenTravel(t station.Instant, n int64) bool {
	if !e.followed() || e.passing() {
		return false
	}
	if full := e.Pace.Full; full > 0 && !e.Pace.Timed && e.Fuse.CounterServes() {
		return e.Ends.DrawnBy(t)-e.Counted < float64(n)*full/2
	}
	return !e.Feed.Drew2(e.Feed.EndAt.Add(feed.FrameLen), t)
}

// resumed returns when the piston began to work, at the latest at t.
func (e *Engine) resumed(t station.Instant) station.Instant {
	f := &e.Feed
	if f.Rests && f.Works() {
		return f.SlowAt
	}
	return min(t, f.Since)
}

// FollowedWork is for trials.
func (e *Engine) FollowedWork() int64 { return e.Feed.Worked }

func (e *Engine) NeededDebug() string {
	return fmt.Sprintf("least %.1f told %.1f hid %.1f ", e.Needed.Least, e.Needed.Told, e.Needed.Hidden)
}
