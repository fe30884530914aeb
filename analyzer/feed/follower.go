package feed

import (
	"math"

	"strokewise/analyzer/station"
)

// Follower follows the header behind one station's inlet. Fields are exported for snapshots only.
type Follower struct {
	Ring    [window]pairFrame // the newest last
	Filled  int
	Open    pairFrame
	Base    float64 // Pa gauge that inlet moments are less by
	OutBase float64

	Level float64         // header at At, Pa gauge
	Slope float64         // Pa/s, 0 while the piston works
	At    station.Instant // 0: never seen to rest
	Var   float64         // Pa², of Level

	Rests   bool
	Since   station.Instant // when the piston came to rest, or began to work
	BreakAt station.Instant // when the last rest ended
	Before  station.Instant // when that rest began
	Drew    [2]bool         // whether the inlet sagged in the newest work and in the one before
	BreakBy float64         // header then, Pa gauge
	BreakSd float64
	KnownAt station.Instant // when the level was last known: at rest, or by the header's own sensor
	Slew    float64         // mean square slope of the header at rest, (Pa/s)²
	Wander  float64         // variance of frame means at rest beyond the sensor noise, Pa²
	Gain    float64         // of the level at rest, see adapt
	Ahead   float64         // the last innovation, Pa
	Quiet   station.Instant // since when windows are straight without a stroke, 0: they are not
	EndAt   station.Instant // of the newest stroke
	Slow    station.Instant // until when a piston whose draw does not show still works
	SlowAt  station.Instant // since when
	Climb   climb           // of the outlet while the piston works
	Worked  int64
}

// pairFrame is a frame of both channels.
type pairFrame struct {
	From, To station.Instant
	In, Out  frame
}

// Context is what a step needs to know besides samples.
type Context struct {
	InNoise, OutNoise float64 // standard deviation of a sample, Pa
	Usual             float64 // usual time between strokes, s, 0: unknown
	Atmosphere        float64 // Pa
	Header            float64 // its own sensor's reading in terms of the inlet's, Pa gauge, 0: none
}

// Stroke takes the end of a stroke, or of a cycle where only cycles are told. hidden says that less
// was drawn since the one before than strokes draw: the piston traveled without a visible draw, at
// a slow pace. It is taken to go on until half an interval after the next end is due.
func (f *Follower) Stroke(at station.Instant, hidden bool) {
	before := f.EndAt
	if at <= before {
		return
	}
	f.EndAt = at
	took := at.Sub(before)
	if before == 0 || took > 2*station.SlowestStroke || !hidden {
		return
	}
	if f.Slow < at {
		f.SlowAt = max(before, f.Since)
	}
	f.Slow = at.Add(took * 3 / 2)
}

// Drew reports whether the inlet was seen to sag between two times.
func (f *Follower) Drew2(from, to station.Instant) bool {
	if f.Rests {
		return f.Drew[0] && f.BreakAt < to && f.Since > from
	}
	return f.Drew[0] && f.BreakAt < to || f.Drew[1] && f.Before > from
}

// Works reports whether the piston works at the newest frame.
func (f *Follower) Works() bool { return !f.Rests || f.Ring[window-1].To < f.Slow }

// Static returns the static inlet pressure, Pa gauge: of now at rest, else of the moment when the
// rest ended; 0 while the piston was never seen to stand.
func (f *Follower) Static() float64 {
	if f.Rests {
		return f.Level
	}
	return f.BreakBy
}

// Until returns when the piston came to rest, while it stands.
func (f *Follower) Until() station.Instant {
	if f.EndAt > f.Since && f.Slow > f.EndAt {
		return f.EndAt
	}
	return f.Since
}

// Reset says that the traces were interrupted.
func (f *Follower) Reset() {
	slew, wander := f.Slew, f.Wander
	*f = Follower{Slew: slew, Wander: wander}
}

// Samples takes the samples of [start, end), a stretch of at most a second, Pa gauge.
func (f *Follower) Samples(start, end station.Instant, tin []station.Instant, in []float64, tout []station.Instant, out []float64, c *Context) {
	i, k := 0, 0
	for from := start; from < end; from = from.Add(FrameLen) {
		to := min(end, from.Add(FrameLen))
		if f.Open.In.N == 0 {
			f.Open = pairFrame{From: from}
		}
		for ; i < len(in) && tin[i] < to; i++ {
			if f.Base == 0 {
				f.Base = in[i]
			}
			f.Open.In.add(float64(tin[i].Sub(f.Open.From))*1e-9, in[i]-f.Base)
		}
		for ; k < len(out) && tout[k] < to; k++ {
			if f.OutBase == 0 {
				f.OutBase = out[k]
			}
			f.Open.Out.add(float64(tout[k].Sub(f.Open.From))*1e-9, out[k]-f.OutBase)
		}
		if f.Open.In.N > 0 {
			f.Open.To = to
			f.close(c)
		}
	}
}

const initialSlew = 300.0 * 300 // (Pa/s)²: 30 kPa in 100 s, a common compressor's band. No source.

// Debug is for trials.
var Debug func(rests bool, since station.Instant, level float64)

// close closes the open frame and steps.
func (f *Follower) close(c *Context) {
	copy(f.Ring[:], f.Ring[1:])
	f.Ring[window-1] = f.Open
	f.Filled = min(f.Filled+1, window)
	f.Open = pairFrame{}
	n := &f.Ring[window-1]
	if f.Slew == 0 {
		f.Slew = initialSlew
	}
	if !f.Rests {
		f.Worked += n.To.Sub(n.From)
	}
	if n.Out.N > 0 {
		f.Climb.take(f.OutBase+n.Out.mean(), overTurn*c.OutNoise/math.Sqrt(n.Out.N), f.Works(), !f.Rests && f.Drew[0])
	}
	l, straight := f.straight(c)
	rises := f.rises(c)
	if f.Rests {
		f.rest(n, c, l, straight, rises)
	} else {
		f.work(n, c, l, straight, rises)
	}
	if Debug != nil {
		Debug(f.Rests, f.Since, f.Level)
	}
}

// straight fits the inlet's line over the window, and reports whether noise alone explains what is left.
func (f *Follower) straight(c *Context) (line, bool) {
	if f.Filled < window {
		return line{}, false
	}
	first := f.Ring[0].From
	var m frame
	for i := range f.Ring {
		r := &f.Ring[i]
		m.plus(r.In.shifted(float64(r.From.Sub(first)) * 1e-9))
	}
	l, ok := fit(&m, 0, float64(f.Ring[window-1].To.Sub(first))*1e-9)
	noise := math.Sqrt(c.InNoise*c.InNoise + f.Wander)
	if !ok {
		return line{}, false
	}
	return l, l.Rms <= max(1.3, 1.1*straightLimit(m.N))*noise
}

// rises reports whether the outlet rises over the window, by more than noise and than a tank that
// warms after it was drawn down.
func (f *Follower) rises(c *Context) bool {
	var m frame
	first := f.Ring[0].From
	for i := range f.Ring {
		r := &f.Ring[i]
		m.plus(r.Out.shifted(float64(r.From.Sub(first)) * 1e-9))
	}
	l, ok := fit(&m, 0, 0)
	return ok && l.Slope > max(4*l.SlopeSd*c.OutNoise, rewarms*(f.OutBase+l.Mid+c.Atmosphere))
}

// lowest returns when the outlet began to rise in the window.
func (f *Follower) lowest() station.Instant {
	at, low := f.Ring[window-1].From, math.Inf(1)
	for i := range f.Ring {
		if r := &f.Ring[i]; r.Out.N > 0 && r.Out.mean() < low {
			at, low = r.To, r.Out.mean()
		}
	}
	return min(at, f.Ring[window-1].From)
}

const (
	rewarms = 0.001 // 1/s by which a tank's pressure may rise as it warms. Common practice, no source.
	sure    = 4.0   // deviations of noise
)

// rest takes a frame while the piston stands.
func (f *Follower) rest(n *pairFrame, c *Context, l line, straight, rises bool) {
	dt := float64(n.To.Sub(f.At)) * 1e-9
	x := f.Base + n.In.mean()
	sd2 := c.InNoise*c.InNoise/n.In.N + f.Wander
	pred := f.Level + f.Slope*dt
	nu := x - pred
	limit := sure * math.Sqrt(sd2+f.Var)
	if nu < -limit || rises || f.EndAt > n.From {
		f.Before, f.Drew = f.Since, [2]bool{nu < -limit, f.Drew[0]}
		f.Rests, f.Since = false, n.From
		f.BreakAt, f.BreakBy, f.BreakSd, f.KnownAt = n.From, pred, math.Sqrt(sd2+f.Var), n.From
		f.Quiet = 0
		f.Worked += n.To.Sub(n.From)
		if rises && nu >= -limit {
			f.Since = max(f.Since, f.lowest())
			f.Worked += n.From.Sub(f.Since)
		}
		return
	}
	if nu > limit {
		f.Level, f.Slope = x, 0
	} else {
		f.adapt(nu, math.Sqrt(sd2))
		f.Level = pred + f.Gain*nu
		f.Slope += f.Gain * f.Gain / 2 * nu / dt
		f.Wander = min(max(0, f.Wander+0.02*(nu*nu-c.InNoise*c.InNoise/n.In.N-f.Var-f.Wander)), 4*c.InNoise*c.InNoise)
		f.Slew += 0.01 * (f.Slope*f.Slope - f.Slew)
	}
	f.At = n.To
	f.Var = f.Gain * sd2
}

const (
	firstGain = 0.3
	leastGain = 0.02 // a memory of some 5 s
	mostGain  = 0.5
	gainStep  = 0.02
)

// adapt moves the gain so that innovations are white: where one follows another of its sign, the
// header moves faster than the level follows; where they alternate, the level follows the noise. sd
// is the deviation of a frame's mean, Pa.
func (f *Follower) adapt(nu, sd float64) {
	if f.Gain == 0 {
		f.Gain = firstGain
	}
	r := nu * f.Ahead / (sd * sd)
	f.Gain *= 1 + gainStep*max(-1, min(1, r))
	f.Gain = min(mostGain, max(leastGain, f.Gain))
	f.Ahead = nu
}

// sd returns the deviation of the header's level at t, as far as it was followed since the rest.
func (f *Follower) sd(t station.Instant) float64 {
	dt := float64(t.Sub(f.KnownAt)) * 1e-9
	return math.Sqrt(f.BreakSd*f.BreakSd + f.Slew*dt*dt)
}

// work takes a frame while the piston works.
func (f *Follower) work(n *pairFrame, c *Context, l line, straight, rises bool) {
	x := f.Base + n.In.mean()
	noise := math.Sqrt(c.InNoise*c.InNoise/n.In.N + f.Wander)
	if c.Header > 0 {
		f.Level, f.At, f.KnownAt = c.Header, n.To, n.To
	}
	if mid := f.Base + l.Mid; l.N > 0 && f.At != 0 && mid > f.Level+sure*noise {
		f.Level, f.BreakBy = mid, mid // a blow of the line behind a stroke is shorter
	}
	if x < f.Level-sure*math.Hypot(noise, f.sd(n.To)) {
		f.Drew[0] = true
	}
	first := f.Ring[0].From
	if !straight || rises || f.EndAt > first.Add(FrameLen) {
		f.Quiet = 0
		return
	}
	if f.Quiet == 0 {
		f.Quiet = first
	}
	end := f.Base + l.at(l.To)
	begin := f.Base + l.at(0)
	fitSd := 2 * c.InNoise / math.Sqrt(l.N)
	accept := false
	since := first
	patience := max(1.5, 2*c.Usual)
	switch {
	case f.At != 0 && min(begin, end) >= f.Level-3*f.sd(n.To)-3*fitSd: // back at the header
		accept = true
	case f.At != 0 && first.Sub(f.BreakAt) <= 3*int64(FrameLen) &&
		f.Base+l.at(float64(f.BreakAt.Sub(first))*1e-9) >= f.BreakBy-3*f.BreakSd-3*fitSd: // the header's slope changed
		accept, since = true, f.BreakAt
	case float64(n.To.Sub(f.Quiet))*1e-9 >= patience:
		accept, since = true, f.Quiet
	}
	if !accept {
		return
	}
	f.Worked -= n.To.Sub(max(since, f.BreakAt))
	f.Rests, f.Since = true, since
	f.Level, f.Slope, f.At = end, l.Slope, n.To
	f.Var = fitSd * fitSd
}
