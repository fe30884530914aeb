package signal

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// Jump is a change from one level to another.
type Jump struct {
	At   int     // index of the first value behind it
	Size float64 // y
	F    float64 // of the model with the jump against that without, the largest over all places
	P    float64 // 0.001, 0.01, 0.05, 0.1 or 1: the chance of so large an F without a jump is at most this
	// Residuals are what is left of y, with the jump in the model.
	Residuals []float64
}

// JumpEdge is how many values must lie on each side of a jump.
const JumpEdge = 5

// jumpClip is beyond how many standard deviations a residual counts no further.
const jumpClip = 4

// FindJump answers where y changes its level, beside a steady slope and levels of the groups
// that differ: least squares of
//
//	y = level(group) + b t + size [i >= at]
//
// for each place, the best of which it gives. F is
//
//	(RSS without - RSS with)/(RSS with/(n - p - 1))/Inflation(residuals)
//
// p the number of other unknowns. Since F is the largest over all places, it is compared with
// levels of that (sup-F) that were simulated, see supF. Residuals beyond four standard
// deviations (by their median) are drawn in before the place is decided, so that single
// values cannot make a jump. A bend looks like a jump to it. It is false with fewer than 14
// values more than groups, unequal lengths, or where slope and groups cannot be told apart.
// t must increase.
func FindJump(t, y []float64, group []int) (Jump, bool) {
	n, groups := len(t), members(group, len(t))
	if len(y) != n || group != nil && len(group) != n || n < 14+len(groups) {
		return Jump{}, false
	}
	m, ok := newJumpModel(t, groups)
	if !ok {
		return Jump{}, false
	}
	j := m.best(y)
	for range 2 {
		j = m.best(clipped(y, j.Residuals))
	}
	for i, v := range clipped(y, j.Residuals) { // as measured, about the fit
		j.Residuals[i] += y[i] - v
	}
	j.F /= Inflation(j.Residuals)
	j.P = supP(n, j.F)
	return j, true
}

// clipped draws values in whose residual is beyond jumpClip standard deviations.
func clipped(y, residuals []float64) []float64 {
	most := jumpClip * spread(residuals, 0)
	out := make([]float64, len(y))
	for i, e := range residuals {
		out[i] = y[i] - e + max(-most, min(most, e))
	}
	return out
}

// jumpModel is the least-squares model without the jump: its columns, and for each place
// what the jump's column looks like beside them.
type jumpModel struct {
	n, p  int
	x     *mat.Dense
	solve mat.Cholesky // of x'x
	norm  []float64    // square of the part of the jump's column that the others do not explain
	rest  [][]float64  // by place: coefficients that explain the rest of it
}

func newJumpModel(t []float64, groups [][]int) (*jumpModel, bool) {
	m := &jumpModel{n: len(t), p: len(groups) + 1}
	m.x = mat.NewDense(m.n, m.p, nil)
	mid := Quantile(t, 0.5)
	for i, v := range t {
		m.x.Set(i, len(groups), v-mid)
	}
	for g, at := range groups {
		for _, i := range at {
			m.x.Set(i, g, 1)
		}
	}
	var gram mat.SymDense
	gram.SymOuterK(1, m.x.T())
	if !m.solve.Factorize(&gram) || m.solve.Cond() > 1e12 {
		return nil, false
	}
	m.norm, m.rest = make([]float64, m.n), make([][]float64, m.n)
	sum := mat.NewVecDense(m.p, nil)
	var c mat.VecDense
	for k := m.n - 1; k >= JumpEdge; k-- {
		sum.AddVec(sum, m.x.RowView(k))
		if m.solve.SolveVecTo(&c, sum) != nil {
			return nil, false
		}
		m.norm[k] = float64(m.n-k) - mat.Dot(&c, sum)
		m.rest[k] = append([]float64(nil), c.RawVector().Data...)
	}
	return m, true
}

// residual gives y less its least-squares fit without a jump.
func (m *jumpModel) residual(y []float64) []float64 {
	var xy, c, fit mat.VecDense
	v := mat.NewVecDense(m.n, append([]float64(nil), y...))
	xy.MulVec(m.x.T(), v)
	_ = m.solve.SolveVecTo(&c, &xy) // it is well conditioned
	fit.MulVec(m.x, &c)
	v.SubVec(v, &fit)
	return v.RawVector().Data
}

// best gives the jump that explains most.
func (m *jumpModel) best(y []float64) Jump {
	e := m.residual(y)
	var rss, tail float64
	for _, v := range e {
		rss += v * v
	}
	j := Jump{At: JumpEdge}
	most := -1.0
	for k := m.n - 1; k >= JumpEdge; k-- {
		tail += e[k]
		if m.n-k < JumpEdge || !(m.norm[k] > 1e-9) {
			continue
		}
		if gain := tail * tail / m.norm[k]; gain > most {
			most, j.At, j.Size = gain, k, tail/m.norm[k]
		}
	}
	j.F = max(most, 0) / (max(rss-most, 0) / float64(m.n-m.p-1))
	if math.IsNaN(j.F) {
		j.F = 0
	}
	j.Residuals = e
	if rest := m.rest[j.At]; rest != nil {
		for i := range e {
			step := 0.0
			if i >= j.At {
				step = 1
			}
			e[i] -= j.Size * (step - mat.Dot(m.x.RowView(i), mat.NewVecDense(m.p, rest)))
		}
	}
	return j
}

// supF holds levels of the largest F: by the number of values, those that chance exceeds in
// 10, 5, 1 and 0.1 of 100 series. Simulated: series of independent normal values, 60,000 of
// each length up to 56, 40,000 of 112, 20,000 beyond, with seven groups in turn; the first
// row without groups. Without groups the levels of longer ones are lower by 5 % at most from
// 28 values on, at 5 %.
var supF = []struct {
	n     float64
	level [4]float64
}{
	{15, [4]float64{7.40, 9.73, 16.3, 29.0}},
	{21, [4]float64{8.64, 11.3, 18.6, 33.0}},
	{28, [4]float64{8.67, 10.9, 16.7, 26.5}},
	{56, [4]float64{8.79, 10.6, 14.9, 20.9}},
	{112, [4]float64{9.06, 10.8, 14.7, 19.8}},
	{224, [4]float64{9.42, 11.0, 15.0, 19.8}},
	{366, [4]float64{9.70, 11.3, 15.0, 19.8}},
}

var supLevels = [4]float64{0.1, 0.05, 0.01, 0.001}

// supP gives the smallest level that F exceeds for n values, between the table's rows by the
// logarithm of n.
func supP(n int, f float64) float64 {
	at := sort.Search(len(supF), func(i int) bool { return supF[i].n >= float64(n) })
	a, b, share := 0, 0, 0.0
	switch {
	case at == len(supF):
		a, b = at-1, at-1
	case at > 0:
		a, b = at-1, at
		share = math.Log(float64(n)/supF[a].n) / math.Log(supF[b].n/supF[a].n)
	}
	p := 1.0
	for i, l := range supLevels {
		if f > supF[a].level[i]+share*(supF[b].level[i]-supF[a].level[i]) {
			p = l
		}
	}
	return p
}
