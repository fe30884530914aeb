package signal

import "math"

// Onset is where a series left its level.
type Onset struct {
	Index         int     // of the first value that is off the earlier level
	At            float64 // when, in the units of t
	Low, High     float64 // between which times it lies, about 90 %
	Before, After float64 // level before, and value at the end
	Ramp          bool    // it grows from there on; else it stepped to a new level
	Score         float64 // change over its standard error
}

// Bounds of FindOnset.
const (
	onsetSide  = 2   // values on either side of a change, at least
	onsetScore = 4.0 // least score: 1 of 1,000 series of 32 values without a change reaches it (simulated, see the test)
)

// FindOnset answers when y, with standard errors s, left its level: a step to another
// level, or a ramp that began there. For each place k two models are fitted by weighted
// least squares,
//
//	step: y = a (before k), b (from k on)
//	ramp: y = a + m max(0, t - t_k)
//
// and the better of all counts, if the change at the end is at least four standard errors.
// Those are scaled by what the best model leaves where that is more than s explains. A step
// lies between the last time before it and the first after it; a ramp between the places
// beside the best, and those whose fit is not worse by more than 2.7 of a residual's variance (90 % of a chi-square
// with one degree of freedom).
//
// It is false where no change stands out, for slices of unequal length and fewer than four
// values. s must be above 0 or is taken as the smallest that is; where none is, all weigh the
// same.
func FindOnset(t, y, s []float64) (Onset, bool) {
	n := len(t)
	if n < 2*onsetSide || len(y) != n || len(s) != n {
		return Onset{}, false
	}
	f := onsetFit{t: t, y: y, floor: smallest(s), s: s}
	best, kind := math.Inf(1), 0
	at := 0
	for k := onsetSide; k <= n-onsetSide; k++ {
		if r, _, _, _ := f.step(k); r < best {
			best, at, kind = r, k, 0
		}
	}
	for k := onsetSide - 1; k < n-onsetSide; k++ {
		if r, _, _, _ := f.ramp(k); r < best {
			best, at, kind = r, k, 1
		}
	}
	scale := math.Max(1, best/math.Max(1, float64(n-3)))
	if kind == 1 {
		return f.rampAt(at, best, scale)
	}
	_, a, b, se := f.step(at)
	o := Onset{Index: at, At: (t[at-1] + t[at]) / 2, Low: t[at-1], High: t[at], Before: a, After: b, Score: math.Abs(b-a) / (se * math.Sqrt(scale))}
	return o, o.Score >= onsetScore
}

func smallest(s []float64) float64 {
	f := math.Inf(1)
	for _, v := range s {
		if v > 0 && v < f {
			f = v
		}
	}
	if math.IsInf(f, 1) {
		return 1
	}
	return f
}

// onsetFit is the series of one search.
type onsetFit struct {
	t, y, s []float64
	floor   float64
}

func (f *onsetFit) weight(i int) float64 {
	s := math.Max(f.s[i], f.floor)
	return 1 / (s * s)
}

// step fits a level before index k and one from it on: weighted residuals, levels, standard
// error of their difference.
func (f *onsetFit) step(k int) (rss, a, b, se float64) {
	a, va := f.level(0, k)
	b, vb := f.level(k, len(f.y))
	for i, v := range f.y {
		e := v - a
		if i >= k {
			e = v - b
		}
		rss += f.weight(i) * e * e
	}
	return rss, a, b, math.Sqrt(va + vb)
}

func (f *onsetFit) level(from, to int) (mean, variance float64) {
	var w, wy float64
	for i := from; i < to; i++ {
		w += f.weight(i)
		wy += f.weight(i) * f.y[i]
	}
	return wy / w, 1 / w
}

// ramp fits a level up to index k and a straight line from there: weighted residuals, level,
// slope, standard error of the slope.
func (f *onsetFit) ramp(k int) (rss, a, m, se float64) {
	var w, x, xx, y, xy float64
	for i, v := range f.y {
		g, d := f.weight(i), math.Max(0, f.t[i]-f.t[k])
		w, x, xx, y, xy = w+g, x+g*d, xx+g*d*d, y+g*v, xy+g*d*v
	}
	d := w*xx - x*x
	if d <= 0 {
		return math.Inf(1), 0, 0, 0
	}
	m = (w*xy - x*y) / d
	a = (y - m*x) / w
	for i, v := range f.y {
		e := v - a - m*math.Max(0, f.t[i]-f.t[k])
		rss += f.weight(i) * e * e
	}
	return rss, a, m, math.Sqrt(w / d)
}

// rampAt makes the result of a ramp that begins at index k.
func (f *onsetFit) rampAt(k int, best, scale float64) (Onset, bool) {
	n := len(f.t)
	_, a, m, se := f.ramp(k)
	o := Onset{Index: min(k+1, n-1), At: f.t[k], Low: f.t[max(0, k-1)], High: f.t[min(n-1, k+1)], Before: a, After: a + m*(f.t[n-1]-f.t[k]), Ramp: true, Score: math.Abs(m) / (se * math.Sqrt(scale))}
	for j := onsetSide - 1; j < n-onsetSide; j++ {
		if r, _, _, _ := f.ramp(j); r <= best+2.7*scale {
			o.Low, o.High = math.Min(o.Low, f.t[j]), math.Max(o.High, f.t[j])
		}
	}
	return o, o.Score >= onsetScore
}
