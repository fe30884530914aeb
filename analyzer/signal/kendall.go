package signal

import (
	"math"
	"sort"
)

// Kendall is the Mann-Kendall test of whether y runs up or down with t.
type Kendall struct {
	S     float64 // pairs that rise less pairs that fall
	Var   float64 // variance of S without a trend, ties taken into account
	Tau   float64 // Kendall's tau-b, -1..1; NaN where all y are equal
	Pairs int     // compared
}

// Z gives S in standard deviations, with the correction for continuity,
//
//	(S - sign S)/sqrt(Var inflation)
//
// 0 where nothing varies. inflation, 1 or more, is by how much values that depend on each
// other make S vary more, see Inflation.
func (k *Kendall) Z(inflation float64) float64 {
	if k.S == 0 || k.Var == 0 {
		return 0
	}
	return (k.S - math.Copysign(1, k.S)) / math.Sqrt(k.Var*inflation)
}

// P gives the chance of an S at least as far from 0 without a trend, two-sided, by the
// normal approximation: good from some ten values on.
func (k *Kendall) P(inflation float64) float64 {
	return math.Erfc(math.Abs(k.Z(inflation)) / math.Sqrt2)
}

// MannKendall tests y against t. With groups only values of the same group are compared, and
// S and Var are the sums over the groups: the seasonal test of Hirsch, Slack and Smith (1982,
// from memory), which no difference between the groups, such as that of weekdays, can
// mislead. nil is a single group.
//
//	S   = sum over pairs of sign(y_j - y_i) sign(t_j - t_i)
//	Var = (n(n-1)(2n+5) - sum u(u-1)(2u+5))/18, u the numbers of equal y
//
// Times within a group must differ. It takes n² steps. It is false for slices of unequal
// length and where no two values can be compared. Checked on EPA QA/G-9S and SciPy.
func MannKendall(t, y []float64, group []int) (Kendall, bool) {
	if len(t) != len(y) || group != nil && len(group) != len(t) {
		return Kendall{}, false
	}
	var k Kendall
	var tied float64
	for _, at := range members(group, len(t)) {
		k.add(t, y, at)
		tied += k.ties(y, at)
	}
	if k.Pairs == 0 {
		return Kendall{}, false
	}
	k.Tau = k.S / math.Sqrt(float64(k.Pairs)*(float64(k.Pairs)-tied))
	return k, true
}

// add compares the pairs of one group.
func (k *Kendall) add(t, y []float64, at []int) {
	for i, a := range at {
		for _, b := range at[i+1:] {
			if t[a] == t[b] {
				continue
			}
			k.Pairs++
			k.S += sign(y[b]-y[a]) * sign(t[b]-t[a])
		}
	}
}

// ties adds the variance of one group, and gives its number of pairs of equal y.
func (k *Kendall) ties(y []float64, at []int) (tied float64) {
	s := make([]float64, len(at))
	for i, a := range at {
		s[i] = y[a]
	}
	sort.Float64s(s)
	v := func(n float64) float64 { return n * (n - 1) * (2*n + 5) / 18 }
	k.Var += v(float64(len(s)))
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] == s[i] {
			j++
		}
		u := float64(max(j-i, 1)) // NaN equals nothing
		k.Var -= v(u)
		tied += u * (u - 1) / 2
		i = max(j, i+1)
	}
	return tied
}

func sign(v float64) float64 {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// members gives the indices of each group, in order of the groups.
func members(group []int, n int) [][]int {
	if group == nil {
		all := make([]int, n)
		for i := range all {
			all[i] = i
		}
		return [][]int{all}
	}
	by := make(map[int][]int)
	var names []int
	for i, g := range group {
		if by[g] == nil {
			names = append(names, g)
		}
		by[g] = append(by[g], i)
	}
	sort.Ints(names)
	out := make([][]int, len(names))
	for i, g := range names {
		out[i] = by[g]
	}
	return out
}

// mostCorrelated bounds the correlation that Inflation counts with: above it a series tells
// nothing of trends.
const mostCorrelated = 0.9

// Inflation answers by how much residuals that follow each other make the variance of
// slopes and sums larger than independent ones would,
//
//	(1 + r)/(1 - r)
//
// r their correlation at lag one, as of a first-order autoregression (from memory). It is 1
// where r is not above 1.645/sqrt(n), what chance gives one time in twenty.
func Inflation(residuals []float64) float64 {
	var own, next float64
	for i, e := range residuals {
		own += e * e
		if i > 0 {
			next += e * residuals[i-1]
		}
	}
	r := next / own
	if !(r > 1.645/math.Sqrt(float64(len(residuals)))) {
		return 1
	}
	r = min(r, mostCorrelated)
	return (1 + r) / (1 - r)
}
