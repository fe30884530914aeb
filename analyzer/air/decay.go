package air

import "math"

// Bounds of the fit of a decay.
const (
	// DetectionLimit is the loss, share of the content a second, below which a fall is
	// taken for no leak: 0.1 % a minute.
	DetectionLimit = 0.001 / 60

	decayPoints = 24  // fewest points
	decayMost   = 240 // most points that the balances of a deep fall are fitted to, times two
	minTauTh    = 5.0 // s, bounds of the thermal time constant
	maxTauTh    = 300.0
	tauSteps    = 22
	refineSteps = 24
	leftover    = 0.5   // thermal term left at the window's end, share of the leak's fall
	halvesShare = 0.35  // by which the two halves' rates may differ
	shortSpan   = 100.0 // s, shortest window in which a slow fall counts
	slowFall    = 1e-4  // 1/s, such a fall: 0.6 % a minute
	fitRough    = 3.0   // residual over noise above which the fall is not smooth
	roughFloor  = 5e-5  // residual, share of the pressure, that is always smooth enough
)

// Shape is how a decay runs.
type Shape uint8

// The shapes: a leak in front of the regulator is choked, and its flow follows the
// pressure; behind it the leak sees a constant pressure.
const (
	ShapeEither Shape = iota // the window is too short or the fall too small to tell
	ShapeExponential
	ShapeStraight
)

// String gives the shape in words.
func (s Shape) String() string {
	return [...]string{"either", "exponential: in front of the regulator", "straight: behind the regulator"}[s%3]
}

// Decay is what the fall of a standing outlet tells.
type Decay struct {
	Rate      float64 // 1/s: share of the content lost a second at the window's end
	Low, High float64 // 90 % band of Rate
	Theta     float64 // thermal term at the window's start, 1; negative: rewarming
	TauTh     float64 // its time constant, s
	Residual  float64 // rms, share of the pressure
	Shape     Shape
	Leak      bool   // Low is above the detection limit and all checks hold
	None      bool   // High is below twice the detection limit, Low may be below it, and all checks hold
	Reason    string // why neither
}

// FitDecay fits the pressure p (Pa absolute) of a standing outlet at times t (s) by a
// leak and a thermal term of free sign,
//
//	ln p = ln p0 - t/tau + ln(1 + theta exp(-t/tau_th))
//
// where 1/tau is the rate: tau_th is scanned from 5 to 300 s and refined, the rest solved
// by least squares (Gauss-Newton on theta). A leak is accepted only if the band of the
// rate, over all tau_th that fit about as well, lies above the detection limit, if the
// window is long enough for the thermal term to have died down, if both halves of the
// window show the leak, and if the residuals are smooth: demand in the window is not.
// Assumes that the wall has one temperature; convection leaves a slower tail, which is
// what the halves are for. A wall that was warmed as well lowers the pressure further, by the
// share wall (1/s, 0: none) at most: minutes of fall cannot tell that from a leak, so it is
// taken off the rate's lower bound. t and p must have equal length and t must increase.
func FitDecay(t, p []float64, wall float64) Decay {
	if len(t) < decayPoints || len(t) != len(p) {
		return Decay{Reason: "the window has too few points"}
	}
	y := make([]float64, len(p))
	for i, v := range p {
		if !(v > 0) {
			return Decay{Reason: "a pressure in the window is not above vacuum"}
		}
		y[i] = math.Log(v)
	}
	f := decayFit{t: t, y: y, span: t[len(t)-1] - t[0], wall: wall}
	f.scan()
	d := f.judge()
	f.heat(&d)
	d.Low -= wall
	return d
}

// decayFit is the work space of one fit.
type decayFit struct {
	t, y []float64
	span float64
	wall float64                  // 1/s, see FitDecay
	fits [tauSteps + 2]thermalFit // without, scanned, refined
	best int
	seTh float64 // standard error of the rate that comes from tau_th
}

// thermalFit is the least-squares fit at one thermal time constant.
type thermalFit struct {
	tau      float64 // s, 0: without thermal term
	a, rate  float64
	theta    float64
	rss      float64
	rateSE   float64
	singular bool
}

// scan fits without thermal term and at each time constant.
func (f *decayFit) scan() {
	t0 := f.t[0]
	f.fits[0] = f.line(0, 0)
	for k := range tauSteps {
		tau := minTauTh * math.Pow(maxTauTh/minTauTh, float64(k)/(tauSteps-1))
		f.fits[k+1] = f.thermal(tau, t0)
	}
	f.fits[tauSteps+1].singular = true
	for i := range f.fits {
		if !f.fits[i].singular && f.fits[i].rss < f.fits[f.best].rss {
			f.best = i
		}
	}
	if f.best > 0 {
		f.refine(t0)
	}
}

// refine looks for the best time constant between the scanned ones by golden section in
// ln tau_th, and takes from the curvature of the residuals there how far it is uncertain.
func (f *decayFit) refine(t0 float64) {
	const golden = 0.618033988749895
	step := math.Log(maxTauTh/minTauTh) / (tauSteps - 1)
	mid := math.Log(f.fits[f.best].tau)
	a, b := mid-step, mid+step
	x, y := b-golden*(b-a), a+golden*(b-a)
	fx, fy := f.thermal(math.Exp(x), t0), f.thermal(math.Exp(y), t0)
	for range refineSteps {
		if fx.rss < fy.rss {
			b, y, fy = y, x, fx
			x = b - golden*(b-a)
			fx = f.thermal(math.Exp(x), t0)
		} else {
			a, x, fx = x, y, fy
			y = a + golden*(b-a)
			fy = f.thermal(math.Exp(y), t0)
		}
	}
	r := f.thermal(math.Exp((a+b)/2), t0)
	if r.singular || r.rss > f.fits[f.best].rss {
		return
	}
	const h = 0.03
	lo, hi := f.thermal(r.tau*math.Exp(-h), t0), f.thermal(r.tau*math.Exp(h), t0)
	bend := (lo.rss - 2*r.rss + hi.rss) / (h * h)
	if slope := (hi.rate - lo.rate) / (2 * h); bend > 0 {
		f.seTh = math.Abs(slope) * math.Sqrt(2*r.rss/max(1, float64(len(f.t)-4))/bend)
	}
	f.best = tauSteps + 1
	f.fits[f.best] = r
}

// line fits ln p - ln(1 + theta exp(-t/tau)) by a straight line.
func (f *decayFit) line(theta, tau float64) thermalFit {
	var n, st, sy, stt, sty float64
	t0 := f.t[0]
	for i, t := range f.t {
		y := f.y[i] - term(theta, tau, t-t0)
		t -= t0
		n++
		st += t
		sy += y
		stt += t * t
		sty += t * y
	}
	d := n*stt - st*st
	if d <= 0 {
		return thermalFit{singular: true}
	}
	slope := (n*sty - st*sy) / d
	r := thermalFit{tau: tau, theta: theta, a: (sy - slope*st) / n, rate: -slope}
	for i, t := range f.t {
		e := f.y[i] - term(theta, tau, t-t0) - r.a - slope*(t-t0)
		r.rss += e * e
	}
	r.rateSE = math.Sqrt(r.rss / (n - 2) * n / d)
	return r
}

func term(theta, tau, t float64) float64 {
	if theta == 0 {
		return 0
	}
	return math.Log1p(theta * math.Exp(-t/tau))
}

// thermal fits at time constant tau: linear in (a, rate, theta) about the present theta,
// three rounds.
func (f *decayFit) thermal(tau, t0 float64) thermalFit {
	r := thermalFit{tau: tau}
	var inv float64
	for range 3 {
		var m normal3
		for i, t := range f.t {
			t -= t0
			e := math.Exp(-t / tau)
			d := e / (1 + r.theta*e)
			m.add(1, -t, d, f.y[i]-math.Log1p(r.theta*e)+r.theta*d)
		}
		x, v, ok := m.solve()
		if !ok || math.Abs(x[2]) > 0.5 {
			r.singular = true
			return r
		}
		r.a, r.rate, r.theta, inv = x[0], x[1], x[2], v
	}
	for i, t := range f.t {
		t -= t0
		e := f.y[i] - r.a + r.rate*t - math.Log1p(r.theta*math.Exp(-t/tau))
		r.rss += e * e
	}
	r.rateSE = math.Sqrt(r.rss / float64(len(f.t)-3) * inv)
	return r
}

// normal3 gathers the normal equations of three unknowns.
type normal3 struct{ m [3][4]float64 }

func (n *normal3) add(a, b, c, y float64) {
	v := [4]float64{a, b, c, y}
	for i := range 3 {
		for j := i; j < 4; j++ {
			n.m[i][j] += v[i] * v[j]
		}
	}
}

// solve gives the unknowns and the element (2, 2) of the inverse: the variance of the
// second unknown over that of the noise.
func (n *normal3) solve() (x [3]float64, v11 float64, ok bool) {
	a, b, c := n.m[0][0], n.m[0][1], n.m[0][2]
	d, e, f := n.m[1][1], n.m[1][2], n.m[2][2]
	p, q, r := n.m[0][3], n.m[1][3], n.m[2][3]
	c00, c01, c02 := d*f-e*e, c*e-b*f, b*e-c*d
	c11, c12, c22 := a*f-c*c, b*c-a*e, a*d-b*b
	det := a*c00 + b*c01 + c*c02
	if !(math.Abs(det) > 1e-12*a*d*f) {
		return x, 0, false
	}
	x[0] = (c00*p + c01*q + c02*r) / det
	x[1] = (c01*p + c11*q + c12*r) / det
	x[2] = (c02*p + c12*q + c22*r) / det
	return x, c11 / det, true
}

// noise gives the rms of white noise in y, from second differences: smooth change drops
// out.
func (f *decayFit) noise() float64 {
	s := 0.0
	for i := 2; i < len(f.y); i++ {
		d := f.y[i] - 2*f.y[i-1] + f.y[i-2]
		s += d * d
	}
	return math.Sqrt(s / float64(len(f.y)-2) / 6)
}

// judge turns the fits into a verdict.
func (f *decayFit) judge() Decay {
	b := &f.fits[f.best]
	n := float64(len(f.t))
	d := Decay{Rate: b.rate, Theta: b.theta, TauTh: b.tau, Residual: math.Sqrt(b.rss / n)}
	d.Low, d.High = f.band()
	if rough := d.Residual; rough > roughFloor && rough > fitRough*f.noise() {
		d.Reason = "the fall is not smooth: something drew air in the window"
		return d
	}
	early, late := f.halves(b)
	if d.Low > DetectionLimit {
		low := d.Low - f.wall
		switch {
		case b.tau > 0 && math.Abs(b.theta)*math.Exp(-f.span/b.tau) > leftover*d.Rate*f.span:
			d.Reason = "the window is too short to tell a leak from air that cools or warms"
		case low < DetectionLimit && d.High < 2*DetectionLimit:
			d.None = true
		case low < DetectionLimit:
			d.Reason = "the fall may be that of a tank whose wall still cools"
		case low < slowFall && f.span < shortSpan:
			d.Reason = "the window is too short to tell a leak from air that cools or warms"
		case math.Abs(early-late) > halvesShare*d.Rate+DetectionLimit || late < DetectionLimit:
			d.Reason = "the two halves of the window disagree: the air is still cooling or warming"
		default:
			d.Leak, d.Shape = true, f.shape(b)
		}
		return d
	}
	if d.High < 2*DetectionLimit && late < 2*DetectionLimit {
		d.None = true
		return d
	}
	d.Reason = "the window is too short to tell a leak from air that cools or warms"
	return d
}

// band gives the 90 % band of the rate over all time constants that fit about as well as
// the best one.
func (f *decayFit) band() (low, high float64) {
	b := &f.fits[f.best]
	limit := b.rss * (1 + 2.7/max(1, float64(len(f.t)-4)))
	low, high = math.Inf(1), math.Inf(-1)
	for i := range f.fits {
		r := &f.fits[i]
		if r.singular || r.rss > limit {
			continue
		}
		se := 1.645 * math.Hypot(r.rateSE, f.seTh)
		low, high = min(low, r.rate-se), max(high, r.rate+se)
	}
	return low, high
}

// halves gives the rate of either half of the window with the thermal term of the whole.
func (f *decayFit) halves(b *thermalFit) (early, late float64) {
	k := len(f.t) / 2
	t0 := f.t[0]
	h := func(from, to int) float64 {
		part := decayFit{t: f.t[from:to], y: make([]float64, to-from)}
		for i := from; i < to; i++ {
			part.y[i-from] = f.y[i] - term(b.theta, b.tau, f.t[i]-t0)
		}
		r := part.line(0, 0)
		return r.rate
	}
	return h(0, k), h(k, len(f.t))
}

// shape tells an exponential from a straight fall by the curvature of ln p once the
// thermal term is taken off: a straight fall of p bends ln p down.
func (f *decayFit) shape(b *thermalFit) Shape {
	drop := b.rate * f.span
	if drop < 0.05 {
		return ShapeEither
	}
	straight, n := 0.0, float64(len(f.t))
	var st, sp, stt, stp float64
	p := make([]float64, len(f.t))
	for i, t := range f.t {
		p[i] = math.Exp(f.y[i] - term(b.theta, b.tau, t-f.t[0]) - b.a)
		st, sp, stt, stp = st+t, sp+p[i], stt+t*t, stp+t*p[i]
	}
	m := (n*stp - st*sp) / (n*stt - st*st)
	a := (sp - m*st) / n
	for i, t := range f.t {
		e := (p[i] - a - m*t) / p[i]
		straight += e * e
	}
	switch exponential := b.rss; {
	case straight > 1.5*exponential:
		return ShapeExponential
	case exponential > 1.5*straight:
		return ShapeStraight
	}
	return ShapeEither
}
