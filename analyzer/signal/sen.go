package signal

import (
	"math"
	"sort"
)

// z90 is the 95 % quantile of the normal distribution: 5 % lie outside on each side.
const z90 = 1.6448536269514722

// Slope is how fast a series runs, whatever single points do, with its test.
type Slope struct {
	Value     float64 // y a unit of t
	Low, High float64 // 90 % interval; infinite where there are too few pairs for one
	Kendall
}

// Sen answers how y runs with t within groups: the median of the slopes between all pairs of
// points of the same group (nil: one group), with Sen's 90 % interval from the ranks,
//
//	between the slopes of ranks (N - C)/2 and (N + C)/2 of N, C = 1.645 sqrt(Var inflation)
//
// Var that of MannKendall: the limits are the M1-th and the (M2 + 1)-th smallest slope, M1, M2 =
// (N -+ C)/2 (Sen 1968; Gilbert 1987, section 16.5; both from memory), ranks rounded as SciPy's
// theilslopes does, on which it is checked. Everything that needs such an interval takes it from
// here. It assumes that values are independent but for what inflation covers. It takes memory for
// all pairs: n of some thousands at most. It is false where MannKendall is.
func Sen(t, y []float64, group []int, inflation float64) (Slope, bool) {
	k, ok := MannKendall(t, y, group)
	if !ok {
		return Slope{}, false
	}
	slopes := make([]float64, 0, k.Pairs)
	for _, at := range members(group, len(t)) {
		for i, a := range at {
			for _, b := range at[i+1:] {
				if t[a] != t[b] {
					slopes = append(slopes, (y[b]-y[a])/(t[b]-t[a]))
				}
			}
		}
	}
	sort.Float64s(slopes)
	s := Slope{Value: quantile(slopes, 0.5), Kendall: k}
	n, c := float64(len(slopes)), z90*math.Sqrt(k.Var*inflation)
	low, high := math.RoundToEven((n-c)/2)-1, math.RoundToEven((n+c)/2)
	s.Low, s.High = math.Inf(-1), math.Inf(1)
	if c < n {
		s.Low, s.High = slopes[int(max(low, 0))], slopes[int(min(high, n-1))]
	}
	return s, true
}

// Crossing answers when a line meets a limit, counted from where its level is best known:
// with level l known to within a half width d and slope s to within h, both of 90 %,
//
//	s x = L, L = limit - l, and its interval where (s x - L)² = d² + h² x²
//
// which is Fieller's (from memory). d in the unit of y. late is infinite where the slope
// may be 0. ok is false where the line runs away from the limit or is beyond it.
func (s *Slope) Crossing(level, d, limit float64) (at, early, late float64, ok bool) {
	rise, up, down := s.Value, s.High-s.Value, s.Value-s.Low
	l := limit - level
	if l < 0 { // a limit below: the same, upside down
		rise, up, down, l = -rise, down, up, -l
	}
	if !(rise > 0) || l == 0 {
		return 0, 0, 0, false
	}
	root := func(h float64) float64 { return math.Sqrt(max(l*l*rise*rise-(rise*rise-h*h)*(l*l-d*d), 0)) }
	at = l / rise
	early = (l*l - d*d) / (l*rise + root(up)) // the smaller root
	late = math.Inf(1)
	if rise > down {
		late = (l*rise + root(down)) / (rise*rise - down*down)
	}
	return at, early, late, true
}
