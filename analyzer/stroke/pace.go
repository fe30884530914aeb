package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// Pace judges candidates by the draw between them: a full stroke always draws about the
// same, however fast it runs and however often the piston stands in between. So a
// governor that closes in the middle of a stroke is told from its end, and strokes whose
// end does not show are still counted. Fields are exported for snapshots only.
type Pace struct {
	Areas    [24]float64 // draw from candidate to candidate
	N, Pos   int
	Timed    bool    // the draw is not known: areas are times
	Sure     bool    // Full is what most of them say
	Share    float64 // of the draws between candidates that agree on Full
	Combed   bool    // Full is what the comb says
	Mass     float64 // draw of a stroke that the mass of the teeth tells, 0: unknown
	Hops     float64 // teeth a stroke, where the governor closes within strokes, else 0
	Full     float64 // draw of a stroke, 0: not known yet
	Start    float64 // draw at the end of the last stroke
	Last     station.Instant
	Raw      float64 // draw at the last candidate
	RawAt    station.Instant
	Crossed  station.Instant // when the draw passed that of a stroke, 0: not yet
	Refused  int             // strong candidates in a row that the draw spoke against
	Blind    int             // strokes in a row that nothing showed
	Wait     [4]Candidate
	Waiting  int
	Accepted int
}

// mostUnseen bounds the strokes that are taken from the draw alone: more in a row are a
// header that went down, not strokes.
const mostUnseen = 8

// Forget drops what was learned of the draw, when it is measured in another way.
func (p *Pace) Forget(drawn float64, timed bool) {
	*p = Pace{Timed: timed, Start: drawn, Raw: drawn, Last: p.Last, RawAt: p.RawAt, Accepted: p.Accepted}
}

// Offer takes a candidate. It waits until the draw goes on: a governor that closes looks
// like the end of a stroke, but then no draw follows.
func (p *Pace) Offer(c Candidate) {
	if p.Waiting == len(p.Wait) {
		copy(p.Wait[:], p.Wait[1:])
		p.Waiting--
	}
	p.Wait[p.Waiting] = c
	p.Waiting++
}

// resumed is the share of a stroke's draw that shows that the draw goes on, over how long,
// in ns, it must not have gone on to say that it does not.
// unseen is the draw, in strokes, after which one must have ended that nothing showed.
const (
	unseen  = 1.8
	resumed = 0.15
	ceased  = 7 * station.Second / 10
)

// Ripe gives the oldest candidate behind which the draw went on, and drops those behind
// which it did not. now is the time up to which the draw is known, idle when it last ended.
func (p *Pace) Ripe(now, idle station.Instant, drawing bool, drawn float64) (Candidate, bool) {
	for p.Waiting > 0 {
		c := p.Wait[0]
		need := resumed * p.Full
		if p.Full == 0 {
			need = resumed * (c.Area - p.Start)
		}
		went := p.Timed || drawn-c.Area >= need
		if !went && (drawing || idle <= c.At || now.Sub(idle) < ceased) {
			return Candidate{}, false
		}
		p.Waiting--
		copy(p.Wait[:], p.Wait[1:])
		if went {
			return c, true
		}
	}
	return Candidate{}, false
}

// Strokes gives how many strokes ended up to and with the candidate. usual is the usual
// score of an end.
func (p *Pace) Strokes(c *Candidate, usual float64) int {
	p.raw(c, usual)
	n := 1
	if p.Full == 0 && p.Accepted > 10 && c.Score < 0.6*usual {
		return 0 // weaker than ends are, and no draw to judge it by
	}
	if p.Full > 0 {
		r := (c.Area - p.Start) / p.Full
		n = p.ends(r, c.Score/usual)
		if n == 0 {
			if c.Score > 0.6*usual {
				p.Refused++
			}
			if p.Refused < 6 || p.Hops > 0 {
				return 0
			}
			p.N, p.Full, n = 0, 0, 1 // the draw is not what it was
		}
	}
	if area := c.Area - p.Start; n == 1 && p.Full > 0 && c.Idle <= p.Last && area < 1.4*p.Full && (p.Mass == 0 || p.Hops <= manyHops && math.Abs(area-p.Full) < 0.2*p.Full) {
		p.Full += 0.1 * (area - p.Full)
	}
	if by := p.Start + float64(n)*p.Full; p.Mass > 0 && p.Full > 0 && (p.Hops > manyHops || math.Abs(c.Area-by) > 0.25*p.Full) {
		p.take(c.At, by) // another tooth of the stroke than before
	} else {
		p.take(c.At, c.Area)
	}
	if p.Hops == 0 && !p.Combed && (p.Timed || !p.Sure) {
		return 1
	}
	return min(n, 4)
}

// ends gives how many strokes a draw of r strokes ended, if the candidate's score is this
// share of the usual one. Below some 0.7 it is the governor that closes more often than a
// stroke that ends; if one did, the next candidate's draw tells. The limits were tried out
// on virtual stations and recordings. Where each stroke has several teeth, the nearest one.
func (p *Pace) ends(r, share float64) int {
	least := 0.68
	if share < 0.6 {
		least = 0.95
	}
	if p.Hops > 0 {
		least = 1 - 0.5/p.Hops
	}
	if r < least {
		return 0
	}
	return max(1, int(r+0.4))
}

func (p *Pace) take(at station.Instant, area float64) {
	p.Start, p.Last, p.Crossed, p.Refused, p.Blind = area, at, 0, 0, 0
	p.Accepted++
}

// raw learns from the draw between two candidates that stand out.
func (p *Pace) raw(c *Candidate, usual float64) {
	area := c.Area - p.Raw
	idle := c.Idle > p.RawAt
	p.Raw, p.RawAt = c.Area, c.At
	if idle || area <= 0 || c.Score < 0.5*usual {
		return
	}
	p.Areas[p.Pos] = area
	p.Pos = (p.Pos + 1) % len(p.Areas)
	p.N = min(p.N+1, len(p.Areas))
	if p.N < 6 {
		return
	}
	m, share := p.mode()
	p.Sure, p.Share = p.N >= 10 && share >= 0.5, share
	if !p.fits(m) {
		return
	}
	if p.Full == 0 || !p.Combed && math.Abs(m-p.Full) > 0.25*p.Full {
		p.Full = m
	}
}

// mode gives the mean of the largest group of areas that agree within 15 % with one of them,
// and its share.
func (p *Pace) mode() (mean, share float64) {
	sorted := p.Areas
	areas := sorted[:p.N]
	sortFew(areas)
	most, first, last, sum := 0, 0, 0, 0.0 // the group is first to last, last not included
	for _, a := range areas {
		for last < len(areas) && areas[last]-a < 0.15*a {
			sum += areas[last]
			last++
		}
		for a-areas[first] >= 0.15*a {
			sum -= areas[first]
			first++
		}
		if n, m := last-first, sum/float64(last-first); n > most || n == most && m > mean {
			most, mean = n, m
		}
	}
	return mean, float64(most) / float64(p.N)
}

// sortFew sorts a few values by insertion.
func sortFew[T int64 | float64](s []T) {
	for i, x := range s {
		j := i
		for ; j > 0 && s[j-1] > x; j-- {
			s[j] = s[j-1]
		}
		s[j] = x
	}
}

// manyHops are the teeth a stroke beyond which it is not known which of them ends it.
const manyHops = 2.5

// Weigh takes what the mass of the teeth tells of a stroke's draw, roughly. Steep falls make the
// mass too large, so the draw too small, by a tenth on virtual stations. Where a stroke draws
// more than from tooth to tooth, the governor closes within strokes.
func (p *Pace) Weigh(t *Teeth, c *Comb) {
	p.Mass, p.Hops = 1.1*t.Full(), 0
	if p.Mass == 0 {
		return
	}
	k := p.Mass / t.Each()
	if k > 1.5 {
		p.Hops = math.Round(k)
	}
	if p.fits(p.Full) {
		return
	}
	switch {
	case c != nil && p.fits(c.Period):
		p.Full = c.Period
	case p.Hops > 0 && k < manyHops:
		p.Full = p.Hops * t.Each()
	default:
		p.Full = p.Mass
	}
}

// fits tells whether a draw of a stroke agrees with the mass of the teeth, as far as it is known.
func (p *Pace) fits(full float64) bool {
	return p.Mass == 0 || full > 0.72*p.Mass && full < 1.4*p.Mass
}

// Failed tells whether candidates do not agree on what a stroke draws after worked seconds
// of drawing.
func (p *Pace) Failed(worked float64) bool {
	return worked > patience && (p.N < 10 || p.Share < 0.5) || worked > patience/4 && p.N == 0
}

// Comb takes what the comb says, the draw of a stroke; nil: it was not asked.
func (p *Pace) Comb(c *Comb) {
	if p.Combed = c != nil && c.Period > 0 && p.fits(c.Period); p.Combed && math.Abs(c.Period-p.Full) > 0.1*p.Full {
		p.Full = c.Period
	}
}

// patience is how long, s of drawing, candidates have to agree on a draw.
const patience = 60

// Halved tells whether some draws between ends are about half of what a stroke is taken to draw:
// perhaps that is a cycle, of two unlike strokes.
func (p *Pace) Halved() bool {
	n := 0
	for _, a := range p.Areas[:p.N] {
		if a > 0.35*p.Full && a < 0.65*p.Full {
			n++
		}
	}
	return 12*n >= p.N
}

// Told reports whether candidates or comb agree on what a stroke draws, as far as was seen. With a
// small tank whose teeth cannot be weighed, as at low rates, they must agree well: they may be the
// governor's.
func (p *Pace) Told(small bool) bool {
	if small && p.Mass == 0 {
		return p.Accepted < 20 || p.Share >= 0.7
	}
	return p.Accepted < 20 || p.Timed || p.Combed || p.Share >= 0.4
}

// Unseen tells of a stroke that must have ended since the last one, though nothing showed
// it, once the draw is far beyond that of a stroke; zero if there is none. drawn is the
// draw so far, at t.
func (p *Pace) Unseen(t station.Instant, drawn float64) station.Instant {
	if p.Full <= 0 || !p.Combed && (p.Timed || !p.Sure) {
		return 0
	}
	r := (drawn - p.Start) / p.Full
	if r >= 1 && p.Crossed == 0 {
		p.Crossed = t
	}
	if r < unseen || !p.Combed && p.Blind >= mostUnseen {
		return 0
	}
	at, blind := p.Crossed, p.Blind+1
	p.take(at, p.Start+p.Full)
	p.Blind = blind
	return at
}
