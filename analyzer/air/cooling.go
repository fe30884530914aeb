package air

import "math"

const (
	coolTaus   = 14
	coolFirst  = 6.0  // s, shortest thermal time constant that is tried
	coolStep   = 1.28 // from one to the next
	coolKeep   = 20.0 // stands that are remembered
	coolPoints = 24
	coolRough  = 2.0 // residual over noise above which a stand is not quiet
)

// Cooling learns the rate of a leak from many short stands of one tank. In a stand of a minute
// or so a leak and air that cools look nearly alike, and FitDecay says so. But the time constant
// of the cooling belongs to the tank and is the same in all stands: for each of a few
//
//	ln p = a - rate t + c exp(-t/tau)
//
// is fitted to each stand by least squares, with a free c; the tau whose residuals, summed over
// the stands, are least tells the rate. Fields are exported for snapshots only.
type Cooling struct {
	Left, Rate, RateSq [coolTaus]float64 // weighted sums over stands: residuals squared, 1/s, its square
	N, Points          float64
}

// Add takes a stand: pressures p (Pa abs) at times t (s), evenly spaced. It reports false, and
// learns nothing, where the stand is too short or not smooth: something was drawn. rate is that of
// this stand alone, 1/s, with the time constant of all: it holds what cools more slowly than air
// does, the tank's wall. It is 0 while the time constant is not told.
func (c *Cooling) Add(t, p []float64) (rate float64, ok bool) {
	n := len(t)
	if n < coolPoints || n != len(p) {
		return 0, false
	}
	noise := 0.0
	for i := 2; i < n; i++ {
		d := math.Log(p[i] * p[i-2] / (p[i-1] * p[i-1]))
		noise += d * d
	}
	noise /= 6 * float64(n-2) // of a point, squared: second differences have six times as much
	var left, rates [coolTaus]float64
	least := math.Inf(1)
	tau := coolFirst
	for k := range left {
		left[k], rates[k] = coolFit(t, p, tau)
		least = min(least, left[k])
		tau *= coolStep
	}
	if !(least < coolRough*coolRough*noise*float64(n)) {
		return 0, false
	}
	keep := 1 - 1/coolKeep
	c.N, c.Points = c.N*keep+1, c.Points*keep+float64(n)
	for k := range left {
		c.Left[k] = c.Left[k]*keep + left[k]
		c.Rate[k] = c.Rate[k]*keep + rates[k]
		c.RateSq[k] = c.RateSq[k]*keep + rates[k]*rates[k]
	}
	if k, at, _, told := c.best(); told {
		rate = topOf(rates[k-1], rates[k], rates[k+1], at)
	}
	return rate, true
}

// coolFit gives the sum of squared residuals and the rate, 1/s, for one time constant.
func coolFit(t, p []float64, tau float64) (left, rate float64) {
	var m normal3
	t0, mid := t[0], (t[0]+t[len(t)-1])/2
	y0 := math.Log(p[0])
	for i := range t {
		m.add(1, t[i]-mid, math.Exp(-(t[i]-t0)/tau), math.Log(p[i])-y0)
	}
	x, _, ok := m.solve()
	if !ok {
		return math.Inf(1), 0
	}
	for i := range t {
		r := math.Log(p[i]) - y0 - x[0] - x[1]*(t[i]-mid) - x[2]*math.Exp(-(t[i]-t0)/tau)
		left += r * r
	}
	return left, -x[1]
}

// Told gives the rate, 1/s, with the half-width of its 90 % band, and false while too few stands
// were seen or they do not tell the cooling from a leak. The least sum of residuals lies at the
// top of the parabola through the least one and its neighbours in ln tau, and so does the rate;
// the band is that of the rates of all tau whose residuals are not significantly more, and of
// the stands' scatter.
func (c *Cooling) Told() (rate, half float64, ok bool) {
	best, at, _, ok := c.best()
	if !ok {
		return 0, 0, false
	}
	mid := c.Rate[best] / c.N
	rate = topOf(c.Rate[best-1]/c.N, mid, c.Rate[best+1]/c.N, at)
	scatter := max(0, c.RateSq[best]/c.N-mid*mid)
	half = math.Hypot(c.Doubt(), 1.645*math.Sqrt(scatter/c.N))
	return rate, half, rate > 2*half
}

// Doubt gives the half-width of the rate's 90 % band by the time constant alone, 1/s: what all stands
// have in common. The rest of Told's band is their scatter.
func (c *Cooling) Doubt() float64 {
	best, at, wide, ok := c.best()
	if !ok {
		return 0
	}
	low, mid, high := c.Rate[best-1]/c.N, c.Rate[best]/c.N, c.Rate[best+1]/c.N
	return math.Abs((high-low)/2+2*((high+low)/2-mid)*at) * wide
}

// best gives the time constant whose residuals are least, how many steps the least lies from it, and
// the half-width of its 90 % band in steps.
func (c *Cooling) best() (best int, at, wide float64, ok bool) {
	if c.N < 3 {
		return 0, 0, 0, false
	}
	best = 1
	for k := 1; k < coolTaus-1; k++ {
		if c.Left[k] < c.Left[best] {
			best = k
		}
	}
	noise := c.Left[best] / max(1, c.Points-3*c.N)
	l, r := (c.Left[best-1]-c.Left[best])/noise, (c.Left[best+1]-c.Left[best])/noise
	bend := (l + r) / 2
	if l <= 0 || r <= 0 || bend <= 0 {
		return 0, 0, 0, false // beyond what is tried
	}
	return best, max(-1, min(1, (l-r)/(4*bend))), math.Sqrt(2.7 / bend), true
}

// topOf gives the parabola through three neighbours at a number of steps from the middle one.
func topOf(low, mid, high, at float64) float64 {
	return mid + (high-low)/2*at + ((high+low)/2-mid)*at*at
}
