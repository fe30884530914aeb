package sensors

import (
	"cmp"
	"math"
	"slices"

	"strokewise/analyzer/station"
)

const (
	// weighEvery is how often, ns, what is seen is weighed.
	weighEvery = station.Minute60
	// doubtBelow is the log odds of a sound station against all mistakes below which there is a contradiction: one in a hundred. Own
	// choice; a third more or less asks for a tenth of a deviation more or less of one relation.
	doubtBelow = -4.6
	// listedWithin is by how much, in logarithms, a mistake may be less likely than the likeliest one to be listed: one in twenty.
	listedWithin = 3.0
	// agreed is how many weighings in a row must come to the same.
	agreed = 3
)

// Verdict is what the weighings came to. Fields are exported for snapshots only.
type Verdict struct {
	At     station.Instant // of the newest weighing
	Told   station.Contradiction
	Next   station.Contradiction // what the newest weighings come to
	InARow int
}

// weigh renews the verdict at the end of a slot.
func (w *Watch) weigh(end station.Instant, p *station.Plate) {
	v := &w.Verdict
	if end.Sub(v.At) < weighEvery {
		return
	}
	v.At = end
	now := w.contradiction(p)
	if now.N != v.Next.N || now.Blames[0].Is != v.Next.Blames[0].Is || now.Blames[0].Sides != v.Next.Blames[0].Sides {
		v.InARow = 0
		now.Since = end
	} else {
		now.Since = v.Next.Since
	}
	v.Next = now
	if v.InARow++; v.InARow >= agreed {
		v.Told = now
	}
}

// group is all guesses of one kind of mistake.
type group struct {
	blame     station.Blame
	best, sum float64 // log of the likeliest one, likelihood of all
}

// groups is room for all kinds.
type groups struct {
	of [64]group
	n  int
}

// add adds a guess of a log posterior.
func (g *groups) add(b *station.Blame, x float64) {
	for i := range g.n {
		k := &g.of[i]
		if k.blame.Is != b.Is || k.blame.Sides != b.Sides || k.blame.Mistake != b.Mistake || b.Is == station.RangeTaken && k.blame.Ratio != b.Ratio {
			continue
		}
		k.sum += math.Exp(x)
		if x > k.best {
			k.best, k.blame = x, *b
		}
		return
	}
	if g.n < len(g.of) {
		g.of[g.n] = group{*b, x, math.Exp(x)}
		g.n++
	}
}

// contradiction weighs each mistake against a sound station, by Bayes' rule: its prior times the likelihood of what would be
// seen without it.
func (w *Watch) contradiction(p *station.Plate) (c station.Contradiction) {
	if b, ok := w.Live.closed(); ok {
		c.N, c.Blames[0] = 1, b
		return c
	}
	v := weigher{seen: w.seen(p), plate: p, amb: float64(p.AmbientPressure()), cycles: p.Counts == station.CountsCycles}
	sound := healthy(&v.seen, v.cycles)
	v.all()
	g := &v.groups
	all := 0.0
	for i := range g.n {
		all += g.of[i].sum
	}
	if all <= 0 || sound-math.Log(all) > doubtBelow {
		return c
	}
	list := g.of[:g.n]
	slices.SortFunc(list, func(a, b group) int { return cmp.Compare(b.sum, a.sum) })
	for i := range list {
		if c.N == len(c.Blames) || math.Log(list[i].sum) < math.Log(list[0].sum)-listedWithin {
			break
		}
		c.Blames[c.N] = list[i].blame
		c.N++
	}
	return c
}

// seen returns what the traces show against the plate.
func (w *Watch) seen(p *station.Plate) seen {
	s := seen{top: math.NaN(), reach: math.NaN(), in: math.NaN(), half: w.Rhythm.half(), vented: w.Vented.Reads}
	s.p2 = w.Stands.median(func(r *Stand) float64 { return r.Top })
	s.p1 = w.Stands.median(func(r *Stand) float64 { return r.Inlet })
	s.high = w.Stands.median(func(r *Stand) float64 { return r.High })
	if s.p1 > 0 && s.p2 > 0 {
		s.in = math.Log(s.p1 / s.p2)
		if p.AreaRatio > 0 {
			s.reach = math.Log(s.p2 / (s.p1 * (1 + p.AreaRatio)))
		}
	}
	if s.p2 > 0 && p.Set > 0 {
		s.top = math.Log(s.p2 / float64(p.Set))
	}
	s.lift, s.spread = w.Balance.Share()
	s.lift, s.least = math.Log(max(s.lift, leastLift)), math.Log(w.Climb.share())
	s.quiet, s.doubt = w.Quiet.ratio(p)
	return s
}

// leastLift is the share of the expected lift below which it is not told apart from none.
const leastLift = 0.03
