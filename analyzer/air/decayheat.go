package air

import "math"

// Bounds of the fit by the balances of a tank.
const (
	heatFall  = 0.08 // fall of ln p in the window above which the leak's own cooling counts
	heatSteps = 6    // rounds of Gauss-Newton
	heatTrust = 0.25 // share of the correction that is added to the band
	heatFloor = 4e-3 // rms over the fall of ln p that is good enough: the wall warms too
	heatDeep  = 0.2  // fall of ln p that no relaxation explains together with the balances
	heatRough = 3.0  // by which the rate's standard error is larger than white residuals make it: they follow each other
	heatEmpty = 0.5  // fall of ln p in which the chambers' air comes after on the way: the balances may fit less well
	heatWorse = 2.5  // by as much of the sum of squares
	heatStart = 0.15 // the air's temperature at the window's start, off the wall's, share of it: no station starts further off
	heatSure  = 0.04 // standard error of ln rate with which a fall of less than 1.5 time constants tells
)

// heatStarts are the time constants, s, from which it also starts.
var heatStarts = [...]float64{12, 40}

// tankFit is a choked leak out of a tank whose air exchanges heat with a wall of constant
// temperature through a constant conductance:
//
//	m' = -rate m sqrt(x),  x' = -(kappa-1) rate x^1.5 - (x-1) m0/(m tau),  p = p0 (m/m0)(x/x0)
//
// m is the mass, x the air's temperature over the wall's. What leaves cools what stays: a
// leak that empties the tank in a few thermal time constants falls faster at first and
// slower later than an exponential of its rate.
// Source: balances of mass and energy of an ideal gas, ISO 6358 choked flow.
type tankFit struct{ a, rate, x0, tau float64 }

// heat replaces the rate of a decay by that of a tank with balances, where the fall is
// deep enough for it to matter and those fit about as well.
func (f *decayFit) heat(d *Decay) {
	b := &f.fits[f.best]
	if b.rate*f.span < heatFall || b.rate <= 0 {
		return
	}
	q := tankFit{a: b.a, rate: b.rate, x0: 1 + b.theta, tau: b.tau}
	rss, ok := f.balance(&q)
	for _, tau := range heatStarts {
		n := tankFit{a: b.a, rate: b.rate, x0: 1, tau: tau}
		if r, k := f.balance(&n); k && (!ok || r < rss) {
			q, rss, ok = n, r, true
		}
	}
	rms := math.Sqrt(rss / float64(len(f.t)))
	if !ok || rss > 1.2*b.rss && rms > heatFloor*q.rate*f.span {
		return
	}
	fall, long := q.rate*f.span, f.span > 1.5*q.tau
	se := heatRough * f.tankErr(&q, rss)
	switch better := rss < b.rss || fall > heatEmpty && rss < heatWorse*b.rss; {
	case fall <= heatDeep:
	case !long && se > heatSure || math.Abs(q.x0-1) > heatStart:
		d.Leak, d.Reason = false, "the tank empties too quickly to tell how cold its air becomes"
		return
	case !d.Leak && better && rms <= heatFloor*fall:
		d.Leak, d.Reason, d.Shape = true, "", ShapeExponential
		if !long { // the relaxation's band means nothing here
			d.Low, d.High = d.Rate*(1-1.645*se), d.Rate*(1+1.645*se)
		}
	}
	k := q.rate / d.Rate
	more := heatTrust * math.Abs(q.rate-d.Rate)
	d.Low, d.High, d.Rate = k*d.Low-more, k*d.High+more, q.rate
	d.Residual = rms
}

// tankErr gives the standard error of ln rate, as if what is left were white noise.
func (f *decayFit) tankErr(q *tankFit, rss float64) float64 {
	var m [4][5]float64
	f.normal(q, &m)
	for i := range m {
		m[i][4] = 0
	}
	m[1][4] = 1
	x, ok := solve4(&m)
	if !ok || !(x[1] > 0) {
		return math.Inf(1)
	}
	return math.Sqrt(x[1] * rss / max(1, float64(len(f.t)-4)))
}

// balance improves q by Gauss-Newton in (a, ln rate, x0, ln tau), with halved steps where
// one does not improve, and gives the sum of squares that is left.
func (f *decayFit) balance(q *tankFit) (float64, bool) {
	rss := f.tankRSS(q, nil)
	for range heatSteps {
		var m [4][5]float64
		f.normal(q, &m)
		s, ok := solve4(&m)
		if !ok {
			break
		}
		step, better := 1.0, false
		for range 5 {
			n := tankFit{q.a + step*s[0], q.rate * math.Exp(step*s[1]), q.x0 + step*s[2], q.tau * math.Exp(step*s[3])}
			n.tau = min(max(n.tau, minTauTh), maxTauTh)
			if r := f.tankRSS(&n, nil); r < rss && n.x0 > 0.6 && n.x0 < 1.5 {
				better = r < rss*(1-1e-6)
				*q, rss = n, r
				break
			}
			step /= 2
		}
		if !better {
			break
		}
	}
	return rss, rss > 0 && !math.IsNaN(rss) && q.rate > 0
}

// tankRSS gives the sum of squares of ln p about q, and the residuals if asked.
func (f *decayFit) tankRSS(q *tankFit, e []float64) float64 {
	m, x, rss, t := 1.0, q.x0, 0.0, f.t[0]
	for i := range f.t {
		for t < f.t[i] {
			h := min(f.t[i]-t, max(1, 0.2*q.tau))
			m, x = q.step(m, x, h)
			t += h
		}
		r := f.y[i] - q.a - math.Log(m*x/q.x0) - math.Log(q.x0)
		rss += r * r
		if e != nil {
			e[i] = r
		}
	}
	return rss
}

// step carries mass and temperature on by h seconds (midpoint rule; the heat exchange
// implicitly in the end's temperature would do no better at h of a fifth of tau).
func (q *tankFit) step(m, x, h float64) (float64, float64) {
	dm, dx := q.slope(m, x)
	dm, dx = q.slope(m+h/2*dm, x+h/2*dx)
	return m + h*dm, x + h*dx
}

func (q *tankFit) slope(m, x float64) (dm, dx float64) {
	r := math.Sqrt(max(x, 0.1))
	m = max(m, 1e-3)
	return -q.rate * m * r, -(Kappa-1)*q.rate*x*r - (x-1)/(m*q.tau)
}

// normal gathers the normal equations of the four unknowns by differences.
func (f *decayFit) normal(q *tankFit, m *[4][5]float64) {
	const h = 1e-4
	var buf [4][2 * decayMost]float64
	n := len(f.t)
	if n > len(buf[0]) {
		return
	}
	f.tankRSS(q, buf[0][:n])
	for k, v := range [3]tankFit{{q.a, q.rate * (1 + h), q.x0, q.tau}, {q.a, q.rate, q.x0 + h, q.tau}, {q.a, q.rate, q.x0, q.tau * (1 + h)}} {
		f.tankRSS(&v, buf[k+1][:n])
	}
	for i := range n {
		j := [5]float64{1, (buf[0][i] - buf[1][i]) / h, (buf[0][i] - buf[2][i]) / h, (buf[0][i] - buf[3][i]) / h, buf[0][i]}
		for a := range 4 {
			for b := range 5 {
				m[a][b] += j[a] * j[b]
			}
		}
	}
}

// solve4 solves four linear equations by elimination with pivots, slightly damped.
func solve4(m *[4][5]float64) (x [4]float64, ok bool) {
	for i := range 4 {
		m[i][i] *= 1 + 1e-6
	}
	for i := range 4 {
		p := i
		for k := i + 1; k < 4; k++ {
			if math.Abs(m[k][i]) > math.Abs(m[p][i]) {
				p = k
			}
		}
		m[i], m[p] = m[p], m[i]
		if m[i][i] == 0 || math.IsNaN(m[i][i]) {
			return x, false
		}
		for k := i + 1; k < 4; k++ {
			w := m[k][i] / m[i][i]
			for c := i; c < 5; c++ {
				m[k][c] -= w * m[i][c]
			}
		}
	}
	for i := 3; i >= 0; i-- {
		x[i] = m[i][4]
		for c := i + 1; c < 4; c++ {
			x[i] -= m[i][c] * x[c]
		}
		x[i] /= m[i][i]
	}
	return x, true
}
