package discover

import (
	"math"

	"strokewise/analyzer/station"
)

// trace is a series on a grid of its own width: levels, with gaps filled by what came before.
type trace struct {
	level []float64 // mean of each slot
	last  []float64 // at its end

	quickLevel, quickCount []float64 // once they are asked for: quick of the levels, and of the changes of last
}

// gridKey names a trace of a series.
type gridKey struct{ series, per int }

// grid returns a series with per slots joined to one, nil where too many of them are empty. It is worked out
// once for all pairs.
func (l *Listener) grid(s *series, per int) *trace {
	k := gridKey{s.id, per}
	t, ok := l.grids[k]
	if !ok {
		if x, sound := s.onGrid(per, l.used()); sound {
			t = &x
		}
		if l.grids == nil {
			l.grids = make(map[gridKey]*trace)
		}
		l.grids[k] = t
	}
	return t
}

// traces returns two series on the finest grid on which both have a value in nearly every slot; false where
// too little was heard of one.
func (l *Listener) traces(a, b *series) (x, y *trace, ok bool) {
	used := l.used()
	per := 1
	for int64(per)*l.width < longCycle {
		per *= 2
	}
	for ; used/per >= leastSlots; per *= 2 {
		if x, y = l.grid(a, per), l.grid(b, per); x != nil && y != nil {
			return x, y, true
		}
	}
	return nil, nil, false
}

// quicks returns what is quick of the levels.
func (t *trace) quicks() []float64 {
	if t.quickLevel == nil {
		t.quickLevel = quick(t.level)
	}
	return t.quickLevel
}

// quickCounts returns what is quick of how much was counted in each slot but the first.
func (t *trace) quickCounts() []float64 {
	if t.quickCount == nil {
		counted := make([]float64, len(t.last)-1)
		for i := range counted {
			counted[i] = t.last[i+1] - t.last[i]
		}
		t.quickCount = quick(counted)
	}
	return t.quickCount
}

// longCycle is how long a slot is at least, ns: within less than a cycle a counter shows 0 or 1, whatever the
// pressures do. A cycle at work takes 0.2 to 2 s (the rig's; common practice, no source).
const longCycle = station.Second

const (
	leastSlots = 24  // with fewer, chance alone looks like kinship
	filled     = 0.8 // share of slots with a value of their own
)

// onGrid returns the series with per slots joined to one; false where too many of them are empty.
func (s *series) onGrid(per, used int) (t trace, ok bool) {
	n := used / per
	own := 0
	for k := range n {
		var b slot
		for _, one := range s.slots[k*per : (k+1)*per] {
			if one.n > 0 {
				b.last = one.last
			}
			b.sum, b.n = b.sum+one.sum, b.n+one.n
		}
		switch {
		case b.n > 0:
			own++
			t.level, t.last = append(t.level, b.mean()), append(t.last, b.last)
		case len(t.level) > 0:
			t.level, t.last = append(t.level, t.level[len(t.level)-1]), append(t.last, t.last[len(t.last)-1])
		}
	}
	return t, float64(own) >= filled*float64(n) && len(t.level) == n
}

// steady is over how many slots a level is taken as steady: slower changes are the header's, or demand's.
const steady = 31

// quick returns x less its mean over the slots around each: what is slower than they are is taken out.
func quick(x []float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		from, to := max(0, i-steady/2), min(len(x), i+steady/2+1)
		sum := 0.0
		for _, v := range x[from:to] {
			sum += v
		}
		out[i] = x[i] - sum/float64(to-from)
	}
	return out
}

// kinship is how two series move together.
type kinship struct {
	r float64 // correlation
	z float64 // how many deviations it is from none, by Fisher's transformation
}

// correlate returns the correlation of two series of one length, and how far that is from chance:
//
//	r  = sum (x-mx)(y-my) / sqrt(sum (x-mx)² sum (y-my)²)
//	n' = n (1 - a b)/(1 + a b)   with their correlations a and b with themselves one slot later (Bartlett)
//	z  = atanh(r) sqrt(n' - 3)   (Fisher)
func correlate(x, y []float64) kinship {
	n := min(len(x), len(y))
	r := pearson(x[:n], y[:n])
	if n < leastSlots || math.IsNaN(r) {
		return kinship{}
	}
	ab := pearson(x[:n-1], x[1:n]) * pearson(y[:n-1], y[1:n])
	if math.IsNaN(ab) {
		ab = 0
	}
	ab = max(ab, 0) // a jitter from slot to slot makes no more of what was heard
	free := float64(n)*(1-ab)/(1+ab) - 3
	if free < 1 {
		return kinship{r: r}
	}
	return kinship{r, math.Atanh(max(min(r, 0.9999), -0.9999)) * math.Sqrt(free)}
}

func pearson(x, y []float64) float64 {
	var mx, my float64
	for i := range x {
		mx, my = mx+x[i], my+y[i]
	}
	mx, my = mx/float64(len(x)), my/float64(len(x))
	var sxx, syy, sxy float64
	for i := range x {
		a, b := x[i]-mx, y[i]-my
		sxx, syy, sxy = sxx+a*a, syy+b*b, sxy+a*b
	}
	return sxy / math.Sqrt(sxx*syy)
}

// chance is how likely any pair among all is to be taken for kin that is not; it is shared by all pairs that
// are looked at (Bonferroni).
const chance = 0.01

// needed returns the deviations that a pair among so many must have.
func needed(pairs int) float64 {
	p := chance / float64(max(pairs, 1))
	return math.Sqrt2 * math.Erfinv(1-p) // one side
}

// workOf returns how a pressure follows a counter as the pressures of a booster do: while it counts, the inlet
// sags since strokes draw, and the outlet is low since that is why the governor lets it stroke. Positive is
// more alike.
func (l *Listener) workOf(counter, pressure *series) kinship {
	c, p, ok := l.traces(counter, pressure)
	if !ok {
		return kinship{}
	}
	k := correlate(c.quickCounts(), p.quicks()[1:])
	return kinship{-k.r, -k.z}
}

// sidesOf returns how two pressures go together as inlet and outlet of one booster do: both are low while it
// works.
func (l *Listener) sidesOf(inlet, outlet *series) kinship {
	i, o, ok := l.traces(inlet, outlet)
	if !ok {
		return kinship{}
	}
	return correlate(i.quicks(), o.quicks())
}
