package motion

import (
	"math"

	"strokewise/analyzer/station"
)

// shape is what the traces look like around the end of a stroke, and elsewhere while the piston works:
// mean and variance of the frames of a window less its mean, of both pressures. A window is weighed by
// Fisher's linear discriminant with independent frames,
//
//	q = sum of (m1 - m0)/((v1 + v0)/2) (x - (m1 + m0)/2)
//
// and q by how it came out at ends and elsewhere (two normal distributions), since frames are not wholly
// independent. Fields are exported for snapshots only.
type shape struct {
	Reach       int64 // frames on either side of the middle
	End, Else   moments
	AtEnd, Away spread // of q
	Weight      window
	Bias        float32
}

// window holds the frames of the inlet, less their mean, and behind them those of the outlet.
type window [2 * (2*mostReach + 1)]float32

// moments are mean and variance of windows.
type moments struct {
	N         float32
	Mean, Var window
}

// spread is mean and variance of a figure, and what its density's logarithm begins with.
type spread struct{ N, Mean, Var, Log float32 }

const (
	// endMemory and awayMemory are the windows that are remembered. Ends vary with pressures and with
	// the governor within minutes. Own choice.
	endMemory, awayMemory = 60, 240
	// firstEnds are the ends after which windows are weighed, and their weights tested. Own choice.
	firstEnds = 6
	// leastVar is what the rounding of readings leaves of a variance, Pa². Steps of 0.1 kPa.
	leastVar = 100 * 100 / 12
	// leastSpread keeps the variance of scores from nothing: less evidence than 0.03 is none.
	leastSpread = 1e-3
)

func (m *moments) take(x *window, n int64, memory float32) {
	m.N = min(m.N+1, memory)
	w := 1 / m.N
	for k, v := range x[:n] {
		d := v - m.Mean[k]
		m.Mean[k] += w * d
		m.Var[k] += w * (d*(v-m.Mean[k]) - m.Var[k])
	}
}

func (s *spread) take(q, memory float32) {
	s.N = min(s.N+1, memory)
	d := q - s.Mean
	s.Mean += d / s.N
	s.Var += (d*(q-s.Mean) - s.Var) / s.N
	s.Log = float32(math.Log(float64(s.Var+leastSpread)) / 2)
}

// log returns the logarithm of the density of q, but for a constant.
func (s *spread) log(q float32) float64 {
	d := q - s.Mean
	return float64(-d*d/(s.Var+leastSpread)/2 - s.Log)
}

// learn takes a window around an end.
func (s *shape) learn(x *window) {
	if s.End.N >= firstEnds {
		s.AtEnd.take(s.score(x), endMemory)
	}
	s.End.take(x, s.len(), endMemory)
	s.Bias = 0
	for k := range s.len() {
		w := 2 * (s.End.Mean[k] - s.Else.Mean[k]) / (s.End.Var[k] + s.Else.Var[k] + 2*leastVar)
		s.Weight[k] = w
		s.Bias -= w * (s.End.Mean[k] + s.Else.Mean[k]) / 2
	}
}

// away takes a window that is probably not around an end.
func (s *shape) away(x *window, q float32) {
	if s.End.N >= firstEnds {
		s.Away.take(q, awayMemory)
	}
	s.Else.take(x, s.len(), awayMemory)
}

func (s *shape) score(x *window) float32 {
	q := s.Bias
	for k, w := range s.Weight[:s.len()] {
		q += w * x[k]
	}
	return q
}

// known reports whether enough ends were seen to judge windows.
func (s *shape) known() bool { return s.AtEnd.N >= firstEnds && s.Away.N >= firstEnds }

// evidence returns the logarithm of how much likelier a window of score q is at an end than elsewhere.
// One beyond the mean of ends is no less an end.
func (s *shape) evidence(q float32) float64 {
	if !s.known() {
		return 0
	}
	return s.AtEnd.log(min(q, s.AtEnd.Mean)) - s.Away.log(max(q, s.Away.Mean))
}

// len returns how many values a window has.
func (s *shape) len() int64 { return 2 * (2*s.Reach + 1) }

// window sets x to the frames around frame n, less their means.
func (d *Dater) window(n, reach int64, x *window) {
	var in, out float32
	width := 2*reach + 1
	for k := range width {
		f := d.at(n - reach + k)
		x[k], x[width+k] = f.In, f.Out
		in, out = in+f.In-x[0], out+f.Out-x[width]
	}
	in, out = x[0]+in/float32(width), x[width]+out/float32(width)
	for k := range width {
		x[k], x[width+k] = x[k]-in, x[width+k]-out
	}
}

// between sets x to the frames around time t, which lies between the middles of frames n-1 and n.
func (d *Dater) between(n, reach int64, t station.Instant, x *window) {
	var before window
	d.window(n-1, reach, &before)
	d.window(n, reach, x)
	was := d.at(n - 1).At
	u := float32(min(1, max(0, float64(t.Sub(was))/float64(d.at(n).At.Sub(was)))))
	for k := range 2 * (2*reach + 1) {
		x[k] = before[k] + u*(x[k]-before[k])
	}
}
