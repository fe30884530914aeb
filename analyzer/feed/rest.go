package feed

import "math"

// sure is how many deviations of noise the inlet must fall to be seen to draw: once in some 3·10^4
// frames at rest.
const sure = 4.0

// rest handles a frame while the piston stands. The level follows the inlet by an alpha-beta filter
// (level and slope with gains G and G²/2). An inlet that falls off the course is drawn from; the
// header itself moves by slopes, which the filter follows, and by a wander that is learned.
func (f *Follower) rest(c *Context) {
	n := f.newest()
	dt := seconds(n.mid().Sub(f.At))
	x, course := f.Base+n.In.mean(), f.Level+f.Slope*dt
	noise := c.InNoise * c.InNoise / n.In.N
	sd := math.Sqrt(noise + f.Wander)
	limit := sure * math.Sqrt(sd*sd+f.Var)
	switch nu := x - course; {
	case nu < -limit:
		f.begin(sd, true)
		return
	case f.rises(c):
		f.begin(sd, false)
		return
	case nu > limit: // nothing but the header lifts it
		f.Level, f.Slope = x, 0
	default:
		f.adapt(nu, sd)
		f.Level = course + f.Gain*nu
		f.Slope += f.Gain * f.Gain / 2 * nu / dt
		f.Wander += wanderKeep * (nu*nu - noise - f.Var - f.Wander)
		f.Wander = min(max(0, f.Wander), mostWander*c.InNoise*c.InNoise)
		f.Slew += slewKeep * (f.Slope*f.Slope - f.Slew)
	}
	f.At, f.Var = n.mid(), f.Gain*sd*sd
}

// Own choices, no source. A third more or less changes the level by less than its deviation.
const (
	wanderKeep = 0.02 // a memory of some 5 s
	mostWander = 4.0  // of a sample's variance: more is strokes
	slewKeep   = 0.01
	firstGain  = 0.3
	leastGain  = 0.02
	mostGain   = 0.5
	gainStep   = 0.02
)

// adapt moves the gain until innovations are white, as those of an optimal filter are: where each is
// followed by one of its sign the header moves faster than the level, where they alternate the level
// follows the noise. sd is the deviation of a frame's mean, Pa.
func (f *Follower) adapt(nu, sd float64) {
	r := nu * f.Ahead / (sd * sd)
	f.Gain = min(mostGain, max(leastGain, f.Gain*(1+gainStep*max(-1, min(1, r)))))
	f.Ahead = nu
}

// begin ends a rest where the newest frame begins.
func (f *Follower) begin(sd float64, draws bool) {
	at := f.newest().From
	level := f.Level + f.Slope*seconds(at.Sub(f.At))
	f.Before, f.Drew = f.Since, [2]bool{draws, f.Drew[0]}
	f.BreakAt, f.BreakBy, f.BreakSd, f.KnownAt = at, level, math.Sqrt(sd*sd+f.Var), at
	f.Rests, f.Since, f.Quiet = false, at, 0
	if out := &f.newest().Out; out.N > 0 {
		f.StartBy = f.OutBase + out.mean()
	}
	if !draws {
		f.Since = max(f.Before, f.lowest())
	}
}
