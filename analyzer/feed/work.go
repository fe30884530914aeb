package feed

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// rewarms is by how much of itself a second the outlet may rise while the piston stands: a tank
	// that was drawn down warms. Common practice, no source.
	rewarms = 0.001
	// roughness is by how much more than the noise a straight window may leave, at least: the noise
	// is known within some per cent. Own choice.
	roughness = 1.3
	// leastQuiet is the shortest straight stretch, s, that is a rest wherever it lies. Own choice.
	leastQuiet = 1.5
)

// work handles a frame while the piston works. It comes to rest with a straight window in which no
// stroke ends and the outlet does not rise, if
//
//   - the inlet is back at the header, as far as that may have moved since; or
//   - the line goes back to where the rest ended: the header's slope changed, nothing was drawn; or
//   - it lasts for two strokes at the usual pace: a working piston would have ended one.
func (f *Follower) work(c *Context) {
	n, first := f.newest(), f.Ring[0].From
	l, straight := f.straight(c)
	noise := math.Sqrt(c.InNoise*c.InNoise/n.In.N + f.Wander)
	f.known(c, &l, noise)
	if f.Base+n.In.mean() < f.Level-sure*math.Hypot(noise, f.Sd(n.To)) {
		f.Drew[0] = true
	}
	if !straight || f.rises(c) || f.EndAt > first.Add(FrameLen) {
		f.Quiet = 0
		return
	}
	if f.Quiet == 0 {
		f.Quiet = first
	}
	fitted := 2 * c.InNoise / math.Sqrt(l.N) // deviation of either end of the line
	begin, end := f.Base+l.at(0), f.Base+l.at(l.To)
	switch {
	case f.At != 0 && min(begin, end) >= f.Level-3*(f.Sd(n.To)+fitted):
		f.stand(f.Quiet, &l, fitted)
	case f.At != 0 && first.Sub(f.BreakAt) <= 3*int64(FrameLen) && f.Base+f.bent(&l, first) >= f.BreakBy-3*(f.BreakSd+fitted):
		f.stand(f.BreakAt, &l, fitted)
	case seconds(n.To.Sub(f.Quiet)) >= max(leastQuiet, 2*c.Usual):
		f.stand(f.Quiet, &l, fitted)
	}
}

// bent returns the line's level, Pa less the base, where the rest ended. The header may have bent a
// frame earlier: the first moment of it does not stand out. So it is the higher of the two relative to
// the course then.
func (f *Follower) bent(l *line, first station.Instant) float64 {
	return l.at(seconds(f.BreakAt.Sub(first))) + max(0, f.Slope-l.Slope)*seconds(FrameLen)
}

func seconds(ns int64) float64 { return float64(ns) * 1e-9 }

// stand begins a rest.
func (f *Follower) stand(since station.Instant, l *line, sd float64) {
	f.Rests, f.Since, f.Fitted = true, since, sd
	f.Slope, f.At, f.Var = l.Slope, f.newest().mid(), sd*sd
	f.Level = f.Base + l.at(seconds(f.At.Sub(f.Ring[0].From)))
}

// known notes what is seen of the header while the piston works: its own sensor, or an inlet that
// stands above it for a whole window. (A blow of the line behind a stroke is shorter.)
func (f *Follower) known(c *Context, l *line, noise float64) {
	if c.Header > 0 {
		f.Level, f.At, f.KnownAt = c.Header, f.newest().To, f.newest().To
	}
	if least := f.Base + min(l.at(0), l.at(l.To)); l.N > 0 && f.At != 0 && least > f.Level+sure*noise {
		f.Level, f.BreakBy = least, least
	}
}

// Sd returns the deviation of the level at t, Pa, while the piston works: the header has moved since by
// its usual slope.
func (f *Follower) Sd(t station.Instant) float64 {
	dt := seconds(t.Sub(f.KnownAt))
	return math.Sqrt(f.BreakSd*f.BreakSd + f.Slew*dt*dt)
}

// moments returns the moments of one channel over the window, its times from the window's start.
func (f *Follower) moments(of func(*pair) *frame) (m frame) {
	for i := range f.Ring {
		r := &f.Ring[i]
		m.plus(of(r).shifted(seconds(r.From.Sub(f.Ring[0].From))))
	}
	return m
}

// straight returns the inlet's line over the window, and reports whether noise alone explains what
// it leaves.
func (f *Follower) straight(c *Context) (line, bool) {
	if f.Filled < window {
		return line{}, false
	}
	m := f.moments(func(p *pair) *frame { return &p.In })
	l, ok := fit(&m, seconds(f.newest().To.Sub(f.Ring[0].From)))
	if !ok {
		return line{}, false
	}
	noise := math.Sqrt(c.InNoise*c.InNoise + f.Wander)
	return l, l.Rms <= max(roughness, 1.1*straightLimit(m.N))*noise
}

// rises reports whether the outlet rises over the window, by more than noise and than a tank that
// warms.
func (f *Follower) rises(c *Context) bool {
	old, n := &f.Ring[0].Out, &f.newest().Out
	if n.N == 0 || old.N > 0 && n.mean() <= old.mean() { // no line through it rises by so much
		return false
	}
	m := f.moments(func(p *pair) *frame { return &p.Out })
	l, ok := fit(&m, 0)
	return ok && l.Slope > max(sure*l.SlopeSd*c.OutNoise, rewarms*(f.OutBase+l.Mid+c.Atmosphere))
}

// lowest returns when the outlet was lowest in the window: a rise begins there.
func (f *Follower) lowest() station.Instant {
	n := f.newest()
	at, low := n.From, math.Inf(1)
	for i := range f.Ring {
		if r := &f.Ring[i]; r.Out.N > 0 && r.Out.mean() < low {
			at, low = r.To, r.Out.mean()
		}
	}
	return min(at, n.From)
}
