package motion

import (
	"math"

	"strokewise/analyzer/station"
)

// census counts how many ends the traces show besides those that were found, and how many of those look
// like none. Time is cut into cells: around each end that was found, and between them. A cell holds an
// end with odds
//
//	o = rate × integral of exp(looks) dt,  p = o/(1+o)
//
// so 1-p of a cell around an end is expected to be none, and p of another one to be missed. It takes frames some
// time after they were judged, when all ends around them are found. Fields are exported for snapshots only.
type census struct {
	Ends    [recentEnds]station.Instant // found, at n % recentEnds
	N       int
	Next    int64           // frame to take next
	From    station.Instant // of the open cell, 0: none
	Near    bool            // it is around an end
	Odds    float64
	Found   float64 // ends found, older ones weigh less
	Doubted float64 // of those that look like none, and others that were missed, likewise
}

const (
	recentEnds = 32 // of 2 s at the highest rate, and some that are placed later
	// settled is the time, ns, after which all ends around a moment are found.
	settled = 2 * station.Second
	// around is how far a cell reaches to either side of an end, share of the usual time of a stroke. Own choice:
	// two cells of ends do not touch.
	around = 0.35
	// censusKeep is the weight of the past at each end: a memory of 100.
	censusKeep = 0.99
	// mostLooks bounds the evidence of a frame: one alone makes certain.
	mostLooks = 20
	// surveyed is how many ends must be found before the census says something. Own choice.
	surveyed = 20
)

// Found notes that a stroke was found to end at t.
func (d *Dater) Found(t station.Instant) {
	c := &d.Census
	c.Ends[c.N%recentEnds] = t
	c.N++
	d.End(t, 0)
}

// Doubt returns the share of the ends that were found lately by which their number may be off: those that
// look like none, and those that look like some but were not found. It returns 0 while too few were found.
func (d *Dater) Doubt() float64 {
	if d.Census.Found < surveyed*censusKeep/2 {
		return 0
	}
	return d.Census.Doubted / d.Census.Found
}

// Survey takes the frames that are settled. quick is the lower quartile of the times between strokes, s, usual
// their median. While the piston stands, no stroke is missed.
func (d *Dater) Survey(quick, usual float64) {
	c := &d.Census
	if d.N == 0 || quick <= 0 || usual <= 0 {
		return
	}
	until := d.at(d.N - 1).At.Add(-settled)
	c.Next = max(c.Next, d.From, d.N-ringLen+1)
	for ; c.Next < d.N-d.Shapes[0].Reach-1 && d.at(c.Next).At < until; c.Next++ {
		f, before := d.at(c.Next), d.at(max(d.From, c.Next-1))
		near := c.near(f.At, int64(around*quick*1e9))
		if c.From == 0 || near != c.Near || seconds(f.At.Sub(c.From)) > 2*around*quick {
			c.close()
			c.From, c.Near = f.At, near
		}
		dt := f.Worked - before.Worked
		if near {
			dt = seconds(f.At.Sub(before.At))
		}
		c.Odds += math.Exp(min(f.Looks, mostLooks)) * dt / usual
	}
}

// Pass leaves the frames up to now out of the census.
func (d *Dater) Pass() {
	c := &d.Census
	c.Next, c.From, c.Odds = d.N, 0, 0
}

// near reports whether an end was found within some ns of t.
func (c *census) near(t station.Instant, within int64) bool {
	for i := range min(c.N, recentEnds) {
		if by := t.Sub(c.Ends[i]); by <= within && by >= -within {
			return true
		}
	}
	return false
}

// close counts a cell.
func (c *census) close() {
	p := c.Odds / (1 + c.Odds)
	c.Odds = 0
	switch {
	case c.From == 0:
	case c.Near:
		c.Found, c.Doubted = censusKeep*c.Found+1, censusKeep*c.Doubted+1-p
	default:
		c.Doubted += p
	}
}
