package balance

import (
	"math"

	"strokewise/analyzer/station"
)

// Indices of the state.
const (
	resist = iota // k, Pa s/m³ ANR
	level         // header, Pa absolute
	slope         // of it, Pa/s
	bias          // of the air of cycles, share of it
	states
)

const (
	// slopeLasts is the correlation time of the header's slope, s: a compressor's band, neighbors. Own choice;
	// a third less widens the header's deviation after 10 s by a fifth.
	slopeLasts = 30.0
	// wears is by how much k may change, standard deviation as a share of it, within wearsIn s: a filter
	// that clogs. Own choice.
	wears, wearsIn = 0.1, 1800.0
	// airBias is the standard deviation of what the air of cycles at like pressures is off by together, share
	// of it, and airLasts its correlation time, s: pressures and pace change. Virtual stations of
	// collector/rig differ from air.PerStroke by about so much. A third more or less widens the band of k so.
	airBias, airLasts = 0.04, 60.0
)

// row is a row of a measurement.
type row [states]float64

// state is the filter's mean and covariance. Fields are exported for snapshots only.
type state struct {
	X  row
	P  [states]row
	At station.Instant // 0: the header is not known
}

// begin sets the header and its slope anew, with the variances v and vs, without what ties them to k.
func (s *state) begin(at station.Instant, x, dx, v, vs float64) {
	s.At, s.X[level], s.X[slope] = at, x, dx
	for _, i := range [...]int{level, slope} {
		for j := range s.P {
			s.P[i][j], s.P[j][i] = 0, 0
		}
	}
	s.P[level][level], s.P[slope][slope] = v, vs
}

// courses are how level and slope of a header move in some time: the slope keeps the share keeps, the level
// goes on by ahead times it, and level, cross and slope times the slope's variance are added to
// the covariance.
type courses struct{ keeps, ahead, level, cross, slope float64 }

// course returns how a header moves in t s. Its slope is an Ornstein-Uhlenbeck process of variance S and
// correlation time T, so with f = exp(-t/T)
//
//	var h = S T² (2 t/T - 3 + 4 f - f²),   cov(h, v) = S T (1-f)²,   var v = S (1-f²)
//
// are added (Uhlenbeck and Ornstein, 1930).
func course(t float64) courses {
	u := max(0, t) / slopeLasts
	f := math.Exp(-u)
	return courses{
		keeps: f, ahead: slopeLasts * (1 - f), slope: 1 - f*f,
		level: slopeLasts * slopeLasts * max(0, 2*u-3+4*f-f*f), cross: slopeLasts * (1 - f) * (1 - f),
	}
}

// predict carries the state to a time; slew is the mean square slope of the header.
func (s *state) predict(to station.Instant, slew float64) {
	t := seconds(s.At, to)
	if t <= 0 {
		return
	}
	s.At = to
	c, b := course(t), math.Exp(-t/airLasts)
	s.X[level] += c.ahead * s.X[slope]
	s.X[slope] *= c.keeps
	s.X[bias] *= b
	p := &s.P
	for i := range p { // F P
		p[level][i] += c.ahead * p[slope][i]
		p[slope][i] *= c.keeps
		p[bias][i] *= b
	}
	for i := range p { // (F P) F'
		p[i][level] += c.ahead * p[i][slope]
		p[i][slope] *= c.keeps
		p[i][bias] *= b
	}
	p[level][level] += slew * c.level
	p[level][slope] += slew * c.cross
	p[slope][level] += slew * c.cross
	p[slope][slope] += slew * c.slope
	p[bias][bias] += airBias * airBias * (1 - b*b)
	p[resist][resist] += s.X[resist] * s.X[resist] * wears * wears * t / wearsIn
}

// variance returns h P h'.
func (s *state) variance(h row) float64 {
	v := 0.0
	for i := range h {
		for j := range h {
			v += h[i] * s.P[i][j] * h[j]
		}
	}
	return v
}

// update takes a measurement h x + noise of variance r whose innovation is nu. One that does not tell k
// leaves it as it is and considers its error (Schmidt, 1966; the covariance in Joseph's form).
func (s *state) update(h row, nu, r float64, tells bool) {
	var ph, gain row
	v := r
	for i := range ph {
		for j := range h {
			ph[i] += s.P[i][j] * h[j]
		}
		v += h[i] * ph[i]
	}
	for i := range ph {
		if gain[i] = ph[i] / v; i == resist && !tells {
			gain[i] = 0
		}
	}
	for i := range ph {
		s.X[i] += gain[i] * nu
		for j := range ph {
			s.P[i][j] += gain[i]*gain[j]*v - gain[i]*ph[j] - ph[i]*gain[j]
		}
	}
}
