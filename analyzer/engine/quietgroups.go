package engine

import (
	"math"
	"slices"
)

const (
	groupStrokes = 8   // of a group of rounds: what a count cuts off at its ends is then little
	fewestLate   = 3   // groups that may tell that the delivery has changed
	mostLate     = 7   // and as many as are asked
	plainly      = 1.4 // bands, half-widths, by which late groups must be off
	// leastChange is the share below which no change is looked for: while a tank's wall cools after
	// work, groups of one station differ by 7 to 9 % from the begin of a break to its end.
	leastChange = 0.10
	outSlack    = 0.15 // share of the strokes due by which a group may be off: the fit's
)

// groups joins rounds that follow each other, the newest first, until each group has its strokes, and
// gives them in their order. The air of a round is that by the fall of its own standing times: a leak
// may grow, and the wall of a tank that cools after work asks for air as a leak does. Where that is
// not told, rate is used.
func (r *recharge) groups(buf *[mostQuiet]quietRound, rate float64) []quietRound {
	rounds := r.Ring[mostQuiet-r.Kept:]
	n := mostQuiet
	for i := len(rounds) - 1; i >= 0; i-- {
		q := rounds[i]
		fall := q.Rate
		if fall == 0 {
			fall = rate
		}
		q.Air, q.First = q.Rise+fall*q.Lost, q.At
		if n < mostQuiet && buf[n].Chained && buf[n].Strokes < groupStrokes {
			buf[n].precede(&q)
			continue
		}
		n--
		buf[n] = q
	}
	if n < mostQuiet && buf[n].Strokes < leastStrokes {
		n++
	}
	return buf[n:]
}

// precede adds the round before.
func (g *quietRound) precede(q *quietRound) {
	all := g.Strokes + q.Strokes
	g.Ratio = (g.Ratio*g.Strokes + q.Ratio*q.Strokes) / all
	g.Rise, g.Lost, g.Air = g.Rise+q.Rise, g.Lost+q.Lost, g.Air+q.Air
	g.Strokes, g.Plain, g.Swept = all, g.Plain+q.Plain, g.Swept+q.Swept
	g.First, g.Chained = q.First, q.Chained
}

// forget drops the rounds before the first of some groups.
func (r *recharge) forget(groups []quietRound) {
	for r.Kept > 0 && r.Ring[mostQuiet-r.Kept].At < groups[0].First {
		r.Kept--
	}
}

// cutDoubt gives by how many strokes the count of a group may be wrong at both its ends.
func (e *Engine) cutDoubt() float64 {
	if e.inCycles() {
		return 2.2
	}
	return 1.6
}

// newLevel gives how many of the last groups contradict those before them, by much more than both
// bands, and agree among themselves: then the older ones no longer count. Zero: none do.
func newLevel(groups []quietRound, doubt float64) int {
	for n := fewestLate; n <= mostLate && len(groups)-n >= fewestLate; n++ {
		old, late := groups[:len(groups)-n], groups[len(groups)-n:]
		sortOut(old, doubt)
		sortOut(late, doubt)
		a, b := together(old), together(late)
		if a.Rounds < fewestLate || b.Rounds < float64(n) || a.Air <= 0 || b.Air <= 0 {
			continue
		}
		if x := math.Abs(b.Air/b.Plain/(a.Air/a.Plain) - 1); x > leastChange && x > plainly*math.Hypot(a.Band, b.Band) {
			return n
		}
	}
	return 0
}

// sortOut marks the groups in which more strokes were made than the others' air of a stroke
// explains, or fewer. It begins with the median, which half of the groups may disturb, and goes on
// with the mean of those that agree: counts of few strokes fall into two camps, and the median is
// in one of them.
func sortOut(groups []quietRound, doubt float64) {
	var each [mostQuiet]float64
	for i := range groups {
		each[i] = groups[i].Air / groups[i].Plain
	}
	v := each[:len(groups)]
	slices.Sort(v)
	k := v[len(v)/2]
	for range 3 {
		if k <= 0 {
			return
		}
		gas, plain := 0.0, 0.0
		for i := range groups {
			q := &groups[i]
			due := q.Air / (k * q.Plain / q.Strokes)
			if q.Out = math.Abs(q.Strokes-due) > doubt+outSlack*due; !q.Out {
				gas, plain = gas+q.Air, plain+q.Plain
			}
		}
		if plain == 0 {
			return
		}
		k = gas / plain
	}
}
