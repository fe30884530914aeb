package feed

import (
	"math"

	"strokewise/analyzer/station"
)

// Follower follows the header behind one station's inlet, and whether the piston stands. Frames are
// cut on a grid of event time, so results do not depend on how samples arrive. Fields are exported for
// snapshots only.
type Follower struct {
	Ring    [window]pair // the newest last
	Filled  int          // frames of the ring that are taken
	Open    pair
	Base    float64 // Pa gauge that the inlet's moments are less by, 0: no sample yet
	OutBase float64 // the same of the outlet

	Level  float64         // the header at At in terms of the inlet's sensor, Pa gauge
	Slope  float64         // of it, Pa/s, at rest
	At     station.Instant // 0: never seen to rest
	Var    float64         // of Level at rest, Pa²
	Fitted float64         // deviation of the level when the last rest began, Pa
	Gain   float64         // of the level at rest, see adapt
	Ahead  float64         // last innovation, Pa
	Slew   float64         // mean square slope of the header at rest, (Pa/s)²
	Wander float64         // variance of frame means at rest beyond the sensor's noise, Pa²

	Rests   bool
	Since   station.Instant // when the piston came to rest, or began to work
	BreakAt station.Instant // when the last rest ended
	BreakBy float64         // the header then, Pa gauge
	BreakSd float64         // deviation of it, Pa
	StartBy float64         // the outlet then, Pa gauge: where the governor let the piston start, at most
	Before  station.Instant // when the rest before the present or last work began
	Drew    [2]bool         // the inlet sagged in the present or last work, in the one before
	KnownAt station.Instant // when the level was last seen while the piston worked
	Quiet   station.Instant // since when windows are straight without a stroke's end, 0: they are not

	EndAt  station.Instant // of the newest stroke
	Slow   station.Instant // until when a piston whose draw does not show is taken to work
	SlowAt station.Instant // since when

	Climb Climb
}

// pair is a frame of both channels.
type pair struct {
	From, To station.Instant
	In, Out  frame
}

// mid returns the mean time of the inlet's samples: their mean is the pressure then.
func (p *pair) mid() station.Instant { return p.From.Add(int64(p.In.T / p.In.N * 1e9)) }

// Context is what a step needs to know besides samples.
type Context struct {
	InNoise, OutNoise float64 // standard deviation of a sample, Pa
	Usual             float64 // usual time between strokes, s, 0: unknown
	Atmosphere        float64 // Pa
	Header            float64 // reading of the header's own sensor in terms of the inlet's, Pa gauge, 0: none
}

// initialSlew is the mean square slope taken at the start, (Pa/s)²: 30 kPa in 100 s, a compressor's
// band. Own choice.
const initialSlew = 300.0 * 300

// Reset forgets the traces, as after a gap. What was learned of the header's restlessness stays.
func (f *Follower) Reset() { *f = Follower{Slew: f.Slew, Wander: f.Wander, Gain: f.Gain} }

// Samples adds the samples of [start, end), Pa gauge, in order of time.
func (f *Follower) Samples(start, end station.Instant, in, out Series, c *Context) {
	for from := start; from < end; from = from.Add(FrameLen) {
		to := min(end, from.Add(FrameLen))
		if f.Open.From == 0 {
			f.Open = pair{From: from}
		}
		in = in.fill(&f.Open.In, &f.Base, f.Open.From, to)
		out = out.fill(&f.Open.Out, &f.OutBase, f.Open.From, to)
		if f.Open.In.N > 0 { // at low rates a frame is longer
			f.Open.To = to
			f.close(c)
		}
	}
}

// Series is samples of one channel, Pa gauge.
type Series struct {
	T []station.Instant
	V []float64
}

// fill adds the samples before to, and returns the others.
func (s Series) fill(f *frame, base *float64, from, to station.Instant) Series {
	i := 0
	for ; i < len(s.V) && s.T[i] < to; i++ {
		if *base == 0 {
			*base = s.V[i]
		}
		f.add(float64(s.T[i].Sub(from))*1e-9, s.V[i]-*base)
	}
	return Series{s.T[i:], s.V[i:]}
}

// close closes the open frame and takes it.
func (f *Follower) close(c *Context) {
	copy(f.Ring[:], f.Ring[1:])
	f.Ring[window-1] = f.Open
	f.Filled = min(f.Filled+1, window)
	f.Open = pair{}
	if f.Slew == 0 {
		f.Slew, f.Gain = initialSlew, firstGain
	}
	n := f.newest()
	if n.Out.N > 0 {
		f.Climb.take(f.OutBase+n.Out.mean(), overTurn*c.OutNoise/math.Sqrt(n.Out.N), f.Works())
	}
	if f.Rests {
		f.rest(c)
	} else {
		f.work(c)
	}
}

func (f *Follower) newest() *pair { return &f.Ring[window-1] }

// Works reports whether the piston works at the newest frame.
func (f *Follower) Works() bool { return !f.Rests || f.newest().To < f.Slow }

// Until returns when the piston came to stand, while it stands.
func (f *Follower) Until() station.Instant {
	if f.EndAt > f.Since && f.Slow > f.EndAt {
		return f.EndAt
	}
	return f.Since
}

// Began returns when the piston began to work, while it works.
func (f *Follower) Began() station.Instant {
	if f.Rests {
		return f.SlowAt
	}
	return f.Since
}

// Static returns the static inlet pressure, Pa gauge: of now at rest, else of the moment when the
// rest ended; 0 while the piston was never seen to stand.
func (f *Follower) Static() float64 {
	if f.Rests {
		return f.Level
	}
	return f.BreakBy
}
