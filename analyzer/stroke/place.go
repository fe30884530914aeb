package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// Where the end of a stroke is looked for, and by what. Shares are of a stroke's time where
// nothing else is said; they were tried out on recordings of an independent model.
const (
	ahead    = 0.6  // that the end may be before its notice
	behind   = 0.3  // that it may be behind it
	apart    = 0.3  // from the end before
	loose    = 0.25 // deviation of the end from the notice where nothing else is known
	rise     = 0.07 // width of the windows on the inlet
	riseMost = 0.05 // s: what closes and opens at an end takes some hundredths
	fall     = 0.18 // width of the windows on the outlet
	onward   = 0.5  // how far the inlet's course is drawn on, in windows: to the end itself
	steady   = 0.02 // least deviation of a stroke's draw from the usual, over it
	soonest  = 0.85 // of the usual draw after which an end is looked for
	newest   = 0.2  // weight of the newest draw in the usual
)

// Placed remembers where strokes ended lately. Fields are exported for snapshots only.
type Placed struct {
	At      station.Instant // when the last stroke ended, 0: not known
	Area    float64         // draw up to there
	Span    float64         // draw from end to end, lately, 0: not known
	Scatter float64         // by which ends are off what Span says, lately
}

// Place gives when the stroke ended that was noticed at t. Where a soft governor throttles the
// drive, the inlet recovers in the middle of a stroke and that stands out more than its end. At
// the end itself the delivery ceases at once, so the outlet turns down; and the draw, so the
// inlet rises above where it was heading. While air passes straight through the check valves
// the draw does not cease: the next drive chamber fills, and the inlet falls. Both are weighed
// with what strokes usually draw.
func (e *Ends) Place(t station.Instant, passing bool) station.Instant {
	pl := &e.Placed
	pace := e.Pace
	if pace == 0 && pl.At != 0 {
		pace = min(max(float64(t.Sub(pl.At))*1e-9, 0.15), 0.5)
	}
	if pace == 0 || e.Out.Step <= 0 || e.In.Step <= 0 {
		e.place(t)
		return t
	}
	share := func(x float64) int64 { return int64(x * pace * 1e9) }
	from, to := t.Add(-share(ahead)), t.Add(share(behind))
	prior := func(x station.Instant, _ float64) float64 { return float64(x.Sub(t)) / (loose * pace * 1e9) }
	if gap := e.DrawnBy(t) - pl.Area; pl.At != 0 && gap > 0.4*pl.Span && gap < 1.6*pl.Span {
		from = min(from, e.drawnAt(pl.Area+soonest*pl.Span))
		sigma := max(steady*pl.Span, 1.5*pl.Scatter)
		prior = func(_ station.Instant, area float64) float64 { return (area - pl.Area - pl.Span) / sigma }
	}
	at := e.find(max(from, pl.At.Add(share(apart))), to, t, pace, passing, prior)
	e.place(at)
	return at
}

// find gives the time from a time to another at which the end of a stroke is most likely,
// otherwise else. prior tells by how many deviations a time and the draw up to it are off what
// is expected; the traces' evidence is that of a matched filter, half its square.
func (e *Ends) find(from, to, otherwise station.Instant, pace float64, passing bool, prior func(station.Instant, float64) float64) station.Instant {
	in, o := &e.In, &e.Out
	n1 := max(1, in.samples(min(rise*pace, riseMost)))
	n2 := min(max(2, o.samples(fall*pace)), 40)
	s1 := in.Noise() * math.Sqrt((1+(1+onward)*(1+onward)+onward*onward)/float64(n1))
	s2 := o.cornerNoise(n2)
	w1, w2 := math.Sqrt(e.J), math.Sqrt(e.K)
	w1, w2 = w1/math.Sqrt(e.J+e.K), w2/math.Sqrt(e.J+e.K)
	if passing {
		w1 = -w1
	}
	best, at, k := math.Inf(-1), otherwise, in.N-1
	for m := o.upTo(to); m > o.oldest() && o.TimeOf(m) >= from; m-- {
		t := o.TimeOf(m)
		for k > in.oldest() && in.TimeOf(k-1) >= t {
			k--
		}
		v := w2 * e.corner(m, n2, s2)
		if in.has(k-2*n1, k+n1) {
			v += w1 * clip((in.mean(k, k+n1)-(1+onward)*in.mean(k-n1, k)+onward*in.mean(k-2*n1, k-n1))/s1)
		}
		d := prior(t, e.Area[k&ringMask])
		if v = v*math.Abs(v)/2 - d*d/2; v > best {
			best, at = v, t.Add(-int64(in.Step*0.5e9))
		}
	}
	return at
}

// Twice tells whether two strokes ended since the end before, by what ends were lately apart in
// draw and are usually apart in time, ns.
func (p *Placed) Twice(before *Placed, usual int64) bool {
	took := p.At.Sub(before.At)
	return before.At != 0 && before.twice(p.Area-before.Area) && took > usual*8/5 && took < usual*3
}

func (p *Placed) twice(gap float64) bool {
	return p.Scatter < 0.1*p.Span && gap > 1.75*p.Span && gap < 2.25*p.Span
}

// place notes that a stroke ended at t.
func (e *Ends) place(t station.Instant) {
	pl := &e.Placed
	area := e.DrawnBy(t)
	gap := area - pl.Area
	if pl.twice(gap) {
		gap /= 2
	}
	switch {
	case pl.At == 0 || gap <= 0:
	case pl.Span == 0 || gap > 1.6*pl.Span || gap < 0.6*pl.Span:
		pl.Span, pl.Scatter = gap, 0.1*gap
	default:
		off := gap - pl.Span
		pl.Span += newest * off
		pl.Scatter += newest * (math.Abs(off) - pl.Scatter)
	}
	pl.At, pl.Area = t, area
}

// DrawnBy gives the draw up to t, as far as it is remembered.
func (e *Ends) DrawnBy(t station.Instant) float64 {
	return e.Area[e.In.upTo(t)&ringMask]
}

// drawnAt gives when the draw reached area, as far as it is remembered.
func (e *Ends) drawnAt(area float64) station.Instant {
	in := &e.In
	k := in.N - 1
	for k > in.oldest() && e.Area[(k-1)&ringMask] >= area {
		k--
	}
	return in.TimeOf(k)
}
