// Package motion dates the strokes of a booster whose cycles are counted. The counter is a hard frame:
// it fixes the ends of cycles and their number. The stroke between two of them is dated by what the
// traces show there, judged by what they showed at the ends that were counted.
package motion

import (
	"math"

	"strokewise/analyzer/station"
)

// Dater dates strokes. Frames are made of whole samples in order of time, so results do not depend on
// how samples arrive. Fields are exported for snapshots only. The zero value is ready.
type Dater struct {
	Ring   [ringLen]frame // frame n stands at n % ringLen
	N      int64          // frames taken
	From   int64          // first frame behind the last gap
	Open   open
	Shapes [2]shape // over a wide window and over a narrow one
	Cycle  cycle
	Ended  ended
	Habit  habit
}

// frame is a mean of one or some samples.
type frame struct {
	At      station.Instant
	In, Out float32 // Pa gauge
	Drew    float64 // up to its middle, in sqrt(Pa) s
	Worked  float64 // s of work up to its middle
	Looks   float64 // like an end: the logarithm of how much likelier it is one
}

// open is the frame that is being filled.
type open struct {
	N, OutN int
	T       int64 // sum of the times since At, ns
	At      station.Instant
	In, Out float64 // sums, Pa
}

// Series is samples of one channel, Pa gauge, in order of time.
type Series struct {
	T []station.Instant
	V []float64
}

// Context is what is known of the station besides samples.
type Context struct {
	Step   float64 // s from sample to sample of the inlet
	Header float64 // Pa gauge, in terms of the inlet's sensor; 0: unknown
	Works  bool    // the piston works
	Usual  float64 // time of a stroke, s, 0: unknown
}

const (
	ringLen = 128
	// frameTime is the shortest frame, s: the ends of the fastest strokes must be dated within 0.05 s, and
	// what opens and closes at an end takes some hundredths. Own choice: a third more or less dates as well.
	frameTime = 0.02
	// wide and narrow are how far windows reach before and behind their middle, s: less than the fastest
	// stroke takes, and what valves take to open and close. Own choices.
	wide, narrow = 0.25, 0.08
	fewReach     = 2 // frames at the least
	mostReach    = 12
	// longestStep is the longest time, s, from frame to frame of a window.
	longestStep = 0.5
)

// Samples adds the samples of a slot of time.
func (d *Dater) Samples(in, out Series, c *Context) {
	if c.Step <= 0 {
		return
	}
	per := max(1, int(frameTime/c.Step+0.5))
	for i, reach := range [...]float64{wide, narrow} {
		d.Shapes[i].Reach = min(max(int64(reach/(c.Step*float64(per))+0.5), fewReach), mostReach)
	}
	k := 0
	for i, t := range in.T {
		for ; k < len(out.T) && out.T[k] <= t; k++ {
			d.Open.Out += out.V[k]
			d.Open.OutN++
		}
		o := &d.Open
		if o.N == 0 {
			o.At = t
		}
		o.N++
		o.T += t.Sub(o.At)
		if o.In += in.V[i]; o.N >= per {
			d.close(c)
		}
	}
	for ; k < len(out.T); k++ {
		d.Open.Out += out.V[k]
		d.Open.OutN++
	}
}

// close takes the frame that is filled.
func (d *Dater) close(c *Context) {
	o, last := d.Open, d.at(d.N-1)
	d.Open = open{}
	n := float64(o.N)
	f := frame{At: o.At.Add(o.T / int64(o.N)), In: float32(o.In / n), Out: last.Out, Drew: last.Drew, Worked: last.Worked}
	if o.OutN > 0 {
		f.Out = float32(o.Out / float64(o.OutN))
	}
	dt := seconds(f.At.Sub(last.At))
	if d.N == d.From || dt > longestStep || dt <= 0 {
		d.From = d.N
	} else if c.Works {
		f.Drew += draw(c.Header, float64(f.In)) * dt
		f.Worked += dt
	}
	d.Ring[d.N%ringLen] = f
	d.N++
	d.look(c.Usual)
}

// draw returns the flow into a booster, as its square where the sag of the supply is small (ISO 6358):
// up to a factor
//
//	q = sqrt(header - inlet)
//
// Below the header's level it is negative, so that noise adds up to nothing.
func draw(header, inlet float64) float64 {
	if header <= 0 {
		return 0
	}
	if sag := header - inlet; sag >= 0 {
		return math.Sqrt(sag)
	} else {
		return -math.Sqrt(-sag)
	}
}

// Reset forgets the traces, as after a gap. What ends look like stays.
func (d *Dater) Reset() {
	d.Open, d.From = open{}, d.N
	d.Cycle.N, d.Ended.At = 0, 0
}

func (d *Dater) at(n int64) *frame { return &d.Ring[(n+ringLen)%ringLen] }

// has reports whether frames a to b, b included, are there without a gap.
func (d *Dater) has(a, b int64) bool { return a >= d.From && a > d.N-ringLen && b < d.N }

// near returns the last frame whose middle is not behind t, as far as it is remembered.
func (d *Dater) near(t station.Instant) int64 {
	n := d.N - 1
	for d.has(n-1, n) && d.at(n).At > t {
		n--
	}
	return n
}

func seconds(ns int64) float64 { return float64(ns) * 1e-9 }
