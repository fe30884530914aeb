package stroke

import "math"

// settle gives the peak away, at the time at which the traces turn most sharply: the inlet
// jumps within some hundredths of a second where the draw stops at once, and climbs more
// slowly where the line's air or the piston's cushion carry on.
func (e *Ends) settle(n1, n2 int64, s1, s2 float64, fn func(Candidate)) {
	c := e.Best
	e.Best, e.Past = Candidate{}, c
	best, at := math.Inf(-1), c.N
	m := e.OutAt
	first := e.Given.Add(e.apart() / 2)
	for i := min(c.N+max(1, n1/2), e.In.N-n1); i >= c.N-2*n1 && i > e.In.From+n1 && i > e.In.N-ringLen+n1+1; i-- {
		t := e.In.TimeOf(i)
		if t < first {
			break
		}
		for m > e.Out.oldest() && e.Out.TimeOf(m-1) >= t {
			m--
		}
		h := max(1, n1/2)
		turn := 0.0
		if e.In.has(i-h-n1, i+h+n1) {
			turn = clip((e.In.mean(i-h-n1, i-h) + e.In.mean(i+h, i+h+n1) - 2*e.In.mean(i-h, i+h)) / s1)
		}
		k := 0.0
		if m < e.Out.N {
			k = e.corner(m, n2, s2)
		}
		if v := e.J*turn + e.K*k; v > best {
			best, at = v, i
		}
	}
	if e.Learned%2 == 0 { // the usual width changes slowly
		c.Fine, c.Coarse = e.plain(c.N, max(1, n1/2), max(1, n2/2), m), e.plain(c.N, 2*n1, 2*n2, m)
		c.Plain = e.plain(c.N, n1, n2, m)
	}
	c.At, c.Area, c.Idle = e.In.TimeOf(at), e.Area[at&ringMask], e.Paused
	c.Again, c.Rest = e.Resumed, e.AtPause
	e.Given = c.At
	if e.Lift > 0 {
		e.weigh(&c)
	}
	fn(c)
}

// plain gives the greatest score near sample i with windows of so many samples, not
// clipped, 0 where they are not there.
func (e *Ends) plain(i, n1, n2, m int64) float64 {
	s1 := e.In.Noise() * math.Sqrt(2/float64(n1))
	s2 := e.Out.cornerNoise(n2)
	best := 0.0
	for k := i - n1; k <= i; k += max(1, n1/2) {
		if !e.In.has(k-n1, k+n1) {
			continue
		}
		t := e.In.TimeOf(k)
		for m > e.Out.oldest() && e.Out.TimeOf(m-1) >= t {
			m--
		}
		for m < e.Out.N-1 && e.Out.TimeOf(m) < t {
			m++
		}
		j, o, h := (e.In.mean(k, k+n1)-e.In.mean(k-n1, k))/s1, 0.0, half(n2)
		if e.Out.has(m-h-n2, m+h+n2) {
			o = (2*e.Out.mean(m-h, m+h) - e.Out.mean(m-h-n2, m-h) - e.Out.mean(m+h, m+h+n2)) / s2
		}
		best = max(best, (e.J*j+e.K*o)/math.Hypot(e.J, e.K))
	}
	return best
}
