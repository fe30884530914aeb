package motion

import (
	"strokewise/analyzer/station"
)

// place is where a stroke may have ended, counted from the newest counted end.
type place struct {
	At           float32 // s
	Drew, Worked float32
	Looks        float32 // like an end: the logarithm of how much likelier it is one
}

// cycle keeps places since the last counted end, of each stretch the one that looks most like an end.
// When they are full, stretches become twice as long.
type cycle struct {
	Places [places]place
	N      int
	Per    int // frames a stretch
	Open   int // frames in the last one
}

// places bounds a cycle's memory: one of 5 s is kept frame by frame, one of a minute by stretches of
// 0.3 s. Own choice.
const places = 256

func (c *cycle) add(p place) {
	if c.N > 0 && c.Open < c.Per {
		if c.Open++; p.Looks > c.Places[c.N-1].Looks {
			c.Places[c.N-1] = p
		}
		return
	}
	if c.N == places {
		c.halve()
	}
	c.Places[c.N], c.Open = p, 1
	c.N++
}

// halve joins each two stretches.
func (c *cycle) halve() {
	for i := range places / 2 {
		a, b := c.Places[2*i], c.Places[2*i+1]
		if b.Looks > a.Looks {
			a = b
		}
		c.Places[i] = a
	}
	c.N, c.Per = places/2, 2*c.Per
}

// ended is the newest counted end.
type ended struct {
	At           station.Instant // 0: none, or a gap lies behind it
	Drew, Worked float64
	Learn        station.Instant // an end whose window is not complete, 0: none
}

// look judges the newest frame whose windows are complete.
func (d *Dater) look(usual float64) {
	most := d.Shapes[0].Reach
	n := d.N - 1 - most
	if !d.has(n-most-1, n+most) {
		return
	}
	f := d.at(n)
	if d.Ended.Learn != 0 && f.At >= d.Ended.Learn {
		d.learn(n)
	}
	away := n%awayEvery == 0 && d.Ended.At != 0 && seconds(f.At.Sub(d.Ended.At)) < stood*usual
	var x window
	f.Looks = 0
	for i := range d.Shapes {
		s := &d.Shapes[i]
		d.window(n, s.Reach, &x)
		q := s.score(&x)
		f.Looks += s.evidence(q)
		if away {
			s.away(&x, q)
		}
	}
	d.add(f)
}

// add adds a frame to the cycle.
func (d *Dater) add(f *frame) {
	if d.Ended.At != 0 && f.At >= d.Ended.At {
		a := &d.Ended
		d.Cycle.add(place{float32(seconds(f.At.Sub(a.At))), float32(f.Drew - a.Drew), float32(f.Worked - a.Worked), float32(f.Looks)})
	}
}

// learn learns from the end before frame n.
func (d *Dater) learn(n int64) {
	var x window
	for i := range d.Shapes {
		s := &d.Shapes[i]
		d.between(n, s.Reach, d.Ended.Learn, &x)
		s.learn(&x)
	}
	d.Ended.Learn = 0
}

// awayEvery is how many frames lie between windows that are taken for no end's. One in some twenty is.
const awayEvery = 5

// stood is the number of usual strokes' times in which the piston must have stood if a cycle takes longer. Own
// choice.
const stood = 6

// nearest is the shortest time between two ends, share of the usual time of a stroke: sides that differ
// by more are no sound ones. Own choice.
const nearest = 0.3

// End notes that a stroke was counted at t. late is by how much the reading may be late, s; one that may be
// later than a window is wide does not show what ends look like.
func (d *Dater) End(t station.Instant, late float64) {
	n, most := d.near(t), d.Shapes[0].Reach
	f := d.at(n)
	d.Cycle.N, d.Cycle.Per = 0, 1
	d.Ended = ended{}
	if d.N == 0 || t.Sub(f.At) > int64(longestStep*1e9) {
		return
	}
	d.Ended = ended{At: t, Drew: f.Drew, Worked: f.Worked}
	if late < wide {
		d.Ended.Learn = t.Add(-int64(late / 2 * 1e9))
	}
	for d.has(n-1, n) && d.at(n-1).At >= d.Ended.Learn {
		n--
	}
	for k := n; d.has(k-most-1, k+most); k++ {
		if d.Ended.Learn != 0 && d.at(k).At >= d.Ended.Learn {
			d.learn(k)
		}
		d.add(d.at(k))
	}
}

// Half returns when the first stroke of the cycle ended that was counted at t, 0 where nothing dates
// it. usual is the usual time of a stroke, s, 0: unknown.
func (d *Dater) Half(t station.Instant, usual float64) station.Instant {
	if d.Ended.At == 0 {
		return 0
	}
	d.Habit.begin()
	f, a := d.at(d.near(t)), &d.Ended
	whole := place{float32(seconds(t.Sub(a.At))), float32(f.Drew - a.Drew), float32(f.Worked - a.Worked), 0}
	edge := nearest * min(whole.At/2, float32(usual))
	if usual <= 0 {
		edge = nearest * whole.At / 2
	} else if float64(whole.At) > stood*usual {
		whole.At = 0 // the piston stood: the time says nothing
	}
	edge = max(edge, min(wide, float32(seconds(t.Sub(a.At)))/4)) // a window must not reach over a counted end
	among := d.Cycle.within(edge, float32(seconds(t.Sub(a.At)))-edge)
	if len(among) == 0 {
		return 0
	}
	var likely [places]float64
	d.Habit.judge(among, &whole, likely[:len(among)])
	d.Habit.learn(among, &whole, likely[:len(among)])
	return a.At.Add(int64(densest(among, likely[:len(among)]) * 1e9))
}

// dated is the time, s, within which an end counts as dated right. Own choice.
const dated = 0.05

// densest returns the time, s, around which ends are likeliest within what counts as dated right: their mean
// there. The likeliest single place would be one that noise makes look like an end.
func densest(among []place, likely []float64) float64 {
	var best, at, sum, moment float64
	a, b := 0, 0
	for i := range among {
		for ; b < len(among) && among[b].At <= among[i].At+dated; b++ {
			sum, moment = sum+likely[b], moment+likely[b]*float64(among[b].At)
		}
		for ; among[a].At < among[i].At-dated; a++ {
			sum, moment = sum-likely[a], moment-likely[a]*float64(among[a].At)
		}
		if sum > best {
			best, at = sum, moment/sum
		}
	}
	return at
}

// within returns the places from a time to another.
func (c *cycle) within(from, to float32) []place {
	a, b := 0, c.N
	for a < b && c.Places[a].At < from {
		a++
	}
	for b > a && c.Places[b-1].At > to {
		b--
	}
	return c.Places[a:b]
}

// shares returns what of a whole cycle lies before a place.
func (p *place) shares(whole *place) shares {
	return shares{float64(p.At / whole.At), float64(p.Worked / whole.Worked), float64(p.Drew / whole.Drew)}
}
