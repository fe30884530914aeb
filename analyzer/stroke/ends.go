package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// Ends finds where strokes end. When the piston meets its stop, the draw at the inlet
// ceases and so does the delivery, both at once:
//
//	J = mean of p1 behind - mean before          the inlet jumps up
//	K = 2 mean p2 around - before - behind       the outlet turns from rising to falling
//
// each over its own noise, weighted by how large they usually are at this station's
// strokes (a matched filter over both traces). Demand turns the outlet alone, a header
// that moves lifts the inlet slowly. What stands out is a candidate; Pace judges it.
//
// Fields are exported for snapshots only. The zero value is not ready: use NewEnds.
type Ends struct {
	In, Out Trace
	Area    [ringLen]float64 // draw before sample n of In, see draw
	Drawn   float64          // all of it
	Worked  float64          // s of drawing
	Y       float64          // p1 smoothed, Pa gauge
	Ref     float64          // resting pressure that the draw is measured from, Pa gauge, 0: none
	Drawing bool
	Above   float64         // s in which the inlet was above Ref, since the slot began
	Top     float64         // highest it was then, Pa gauge
	Idle    station.Instant // when the draw last ended
	Began   float64         // draw when the present run began: a longer pause lies before it
	Run     float64         // usual draw of a run, 0: it never paused
	Resumed station.Instant // when the draw began again after that
	AtIdle  float64         // draw when it last ended
	AtPause float64         // draw at Paused
	Paused  station.Instant // when the last pause in the draw began that was no gap between strokes
	Next    int64           // sample of In to score next
	OutAt   int64           // sample of Out that belongs to it, at the earliest
	J, K    float64         // usual scores at ends
	Learned int             // ends that J and K were learned from
	Comb    *Comb           // nil: not asked
	Teeth   Teeth
	Lift    float64         // by how much a stroke lifts the outlet of a closed tank, Pa, 0: hardly
	Scale   float64         // of the windows, by what shows ends best
	Best    Candidate       // of the present peak
	Past    Candidate       // the newest one given, until the score has fallen behind it
	Given   station.Instant // of the newest candidate
	Flow    float64         // draw a second, lately
	Pace    float64         // time of a stroke, lately, s, 0: unknown
	Placed  Placed
}

// Candidate is where a stroke may have ended.
type Candidate struct {
	At    station.Instant
	Area  float64 // draw up to At
	J, K  float64
	Score float64         // in standard deviations of noise
	Idle  station.Instant // when the draw last paused before it
	Again station.Instant // when it began again
	Rest  float64         // draw up to that pause
	// scores with windows of half, the same and double width, 0: not taken
	Fine, Plain, Coarse float64
	N                   int64 // sample of the inlet
}

// NewEnds gives a detector.
func NewEnds() Ends { return Ends{J: firstScore, K: firstScore, Scale: 1} }

const (
	smooth     = 0.02 // s, time constant of the pressure that the draw is measured by
	overNoise  = 4.0  // deviations of noise that a draw must stand out
	pause      = 5 * station.Second / 10
	tail       = 2 * station.Second // for which a draw too small to be told from noise is added up
	lately     = 0.4                // s, time constant of the present draw
	firstScore = 4.0                // taken for usual at the start
	least      = 5.0                // noise reaches this once in some 10^6 independent scores
	topScore   = 15.0               // what one trace can say at most
)

// Reset says that the traces were interrupted.
func (e *Ends) Reset() {
	e.In.Reset()
	e.Out.Reset()
	e.Best.Score = 0
}

// window gives the half-width of the scores' windows, s, for the strokes at the present
// pace.
func (e *Ends) window() float64 {
	if e.Pace == 0 {
		return 0.12 // of the widths tried, the one that lost the fewest strokes before the pace is known
	}
	w := min(max(0.18*e.Pace*e.Scale, 0.02), 0.25)
	return min(w, 40*max(e.In.Step, e.Out.Step))
}

// apart gives the least time between two candidates, ns.
func (e *Ends) apart() int64 {
	if e.Pace == 0 {
		return station.Second / 10
	}
	return int64(min(max(0.35*e.Pace*min(e.Scale, 1.3), 0.04), 0.5) * 1e9)
}

// pace estimates how long a stroke takes now, s: from what a stroke usually draws and how
// fast the inlet draws now or, where that is not known, from the usual time.
func (e *Ends) pace(full float64, usual int64) {
	e.Pace = float64(usual) * 1e-9
	if full > 0 && e.Flow > 0 && e.Ref > 0 {
		e.Pace = min(max(full/e.Flow, 0.5*e.Pace), 5*e.Pace+0.5)
	}
}

// Search scores what came in and calls fn for each candidate, in order of time.
// full is the draw of a stroke, 0 if unknown, and usual the usual time between strokes, ns.
// With comb it looks for what repeats, too, where candidates alone do not tell.
func (e *Ends) Search(full float64, usualTime int64, comb bool, fn func(Candidate)) {
	e.pace(full, usualTime)
	switch {
	case !comb:
		e.Comb = nil
	case e.Comb == nil:
		e.Comb = &Comb{}
		fallthrough
	default:
		e.comb()
	}
	e.score(fn)
}

// score scores the samples of the inlet that have come in since, as far as the outlet has too.
func (e *Ends) score(fn func(Candidate)) {
	in, o := &e.In, &e.Out
	w, apart := e.window(), e.apart()
	n1, n2 := in.samples(w), o.samples(w)
	h := half(n2)
	s1 := in.Noise() * math.Sqrt(2/float64(n1))
	s2 := o.cornerNoise(n2)
	per1, perH, per2 := 1/(s1*float64(n1)), 1/(s2*float64(h)), 1/(s2*float64(n2))
	usual := math.Hypot(e.J, e.K)
	weigh1, weigh2 := e.J/usual, e.K/usual
	few := e.Pace > 0 && e.Pace < 6*in.Step // too few samples a stroke to wait for a valley
	floor := max(least, 0.35*usual)
	first1 := in.oldest() + n1
	first2 := o.oldest() + h + n2
	m := max(e.OutAt, o.N-ringLen+1)
	i := max(e.Next, in.N-ringLen+2*n1+1)
	stride := int64(1)
	if n1 >= wideWindow && e.Comb == nil {
		stride = 2
	}
	for ; i+n1 <= in.N; i += stride {
		now := in.Time[i&ringMask]
		for m < o.N && int32(o.Time[m&ringMask]-now) < 0 {
			m++
		}
		j, k := 0.0, 0.0
		switch {
		case m+h+n2 > o.N:
			if o.N > 0 && in.Last.Sub(in.TimeOf(i)) <= station.Second {
				e.OutAt, e.Next = m, i
				return // the outlet is not there yet
			}
		case m >= first2:
			k = clip(o.sum(m-h, m+h)*perH - (o.sum(m-h-n2, m-h)+o.sum(m+h, m+h+n2))*per2)
		}
		if i >= first1 {
			j = clip((in.sum(i, i+n1) - in.sum(i-n1, i)) * per1)
		}
		score := weigh1*j + weigh2*k
		if e.Comb != nil && e.Comb.Bin > 0 && (e.Ref <= 0 || e.Area[i&ringMask] > e.Area[(i-1)&ringMask]) {
			e.Comb.Put(e.Area[i&ringMask], in.value(i), o.value(min(m, o.N-1)))
		}
		if e.Best.Score > 0 && in.TimeOf(i).Sub(e.Best.At) >= apart {
			e.OutAt = m
			e.settle(n1, n2, s1, s2, fn)
		}
		if p := &e.Past; p.Score > 0 && (few || p.J >= p.K && j < 0.4*p.J || p.J < p.K && k < 0.4*p.K) {
			p.Score = 0
		}
		if score > floor && e.Past.Score == 0 && score > e.Best.Score {
			e.Best = Candidate{At: in.TimeOf(i), J: j, K: k, Score: score, N: i}
		}
	}
	e.OutAt, e.Next = m, i
}

// wideWindow is the half-width of windows, in samples, from which on every other sample is scored:
// scores change little from one to the next.
const wideWindow = 8

// comb keeps the width of the comb's finest bins near what is drawn in combTime, or from sample
// to sample, and judges when it is due.
func (e *Ends) comb() {
	c := e.Comb
	if c.Due() {
		most := 0.6 * e.Run
		if e.Teeth.Full() > 0 {
			most = 0 // the mass of the teeth tells, and the governor may rest within strokes
		}
		c.Judge(most)
	}
	want := max(combTime, e.In.Step)
	if e.Ref > 0 {
		want *= e.Flow
	}
	if want > 0 && (c.Bin == 0 || want > 2.5*c.Bin || want < 0.4*c.Bin) {
		c.Restart(e.Drawn, want)
	}
}

// combTime is how finely, s, the comb looks: a third of the fastest stroke's time.
const combTime = 0.04

func half(n int64) int64 { return (n + 1) / 2 }

// cornerNoise gives the deviation, Pa, of a corner over windows of n samples by noise alone.
func (d *Trace) cornerNoise(n int64) float64 {
	return d.Noise() * math.Sqrt(4/float64(2*half(n))+2/float64(n))
}

// clip bounds a score. Branches: math.Min and math.Max cost a call each.
func clip(x float64) float64 {
	if x > topScore {
		return topScore
	}
	if x < -topScore {
		return -topScore
	}
	return x
}

// corner gives the outlet's turn at sample m.
func (e *Ends) corner(m, n2 int64, s2 float64) float64 {
	o, h := &e.Out, half(n2)
	if !o.has(m-h-n2, m+h+n2) {
		return 0
	}
	return clip((o.sum(m-h, m+h)/float64(h) - (o.sum(m-h-n2, m-h)+o.sum(m+h, m+h+n2))/float64(n2)) / s2)
}

// Settled gives the time up to which all candidates have been given, and the draw up to
// there.
func (e *Ends) Settled() (station.Instant, float64) {
	n := e.Next - e.In.samples(float64(e.apart())*1e-9+3*e.window())
	if n < e.In.oldest() {
		return 0, 0
	}
	return e.In.TimeOf(n), e.Area[n&ringMask]
}

// repeats is how far the comb's correlation must stand out to serve where ends do not.
const repeats = 0.6

// Visible tells whether ends stand out of the noise as far as was seen: noise alone that is
// taken for ends scores a little above the least score that counts.
func (e *Ends) Visible() bool {
	if e.Learned == 0 || e.Comb != nil && e.Comb.Strength > repeats {
		return true
	}
	return math.Hypot(e.J, e.K) > (1.1+0.05*float64(min(e.Learned, 10)))*least
}

// Learn takes the scores of a stroke's end.
func (e *Ends) Learn(c *Candidate) {
	e.Learned++
	e.J += 0.1 * (max(c.J, 0.3) - e.J)
	e.K += 0.1 * (max(c.K, 0.3) - e.K)
	switch {
	case c.Coarse > 1.25*c.Plain:
		e.Scale = min(1.05*e.Scale, 1.8)
	case c.Fine > 1.05*c.Plain || c.Coarse < 0.9*c.Plain && c.Coarse > 0:
		e.Scale = max(e.Scale/1.05, 1)
	}
}
