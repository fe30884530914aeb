package signal

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// series draws least to 200 values. The length is drawn by itself: a slice of "up to 200"
// has a dozen on average, too few to rise more than once or twice.
func series(rt *rapid.T, least int) []float64 {
	n := rapid.IntRange(least, 200).Draw(rt, "n")
	if rapid.Bool().Draw(rt, "coarse") { // a converter of a few steps: ties
		steps := rapid.SliceOfN(rapid.IntRange(-4, 4), n, n).Draw(rt, "x")
		x := make([]float64, n)
		for i, v := range steps {
			x[i] = 25 * float64(v)
		}
		return x
	}
	return rapid.SliceOfN(rapid.Float64Range(-100, 100), n, n).Draw(rt, "x")
}

func alike(a, b, tol float64) bool { return math.Abs(a-b) <= tol*(1+math.Abs(a)+math.Abs(b)) }

// y' = a + c y over t' = t + s: slopes scale with c, the line at any instant with y; the
// residual with |c|.
func TestTrendsFollowUnitAndClock(t *testing.T) {
	for name, f := range map[string]func(t, y []float64) (Trend, bool){"line": Line, "theil-sen": TheilSen} {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				y := series(rt, 3)
				s := rapid.Float64Range(-1e4, 1e4).Draw(rt, "shift")
				c := rapid.Float64Range(-50, 50).Draw(rt, "scale")
				a := rapid.Float64Range(-100, 100).Draw(rt, "offset")
				ts, later, moved := make([]float64, len(y)), make([]float64, len(y)), make([]float64, len(y))
				for i := range y {
					ts[i], later[i], moved[i] = float64(i), float64(i)+s, a+c*y[i]
				}
				p, _ := f(ts, y)
				q, ok := f(later, moved)
				if !ok || math.Abs(q.Slope-c*p.Slope) > 1e-8 {
					rt.Fatalf("slope %g, want %g times %g", q.Slope, c, p.Slope)
				}
				if got, want := q.Intercept+q.Slope*s, a+c*p.Intercept; math.Abs(got-want) > 1e-4 {
					rt.Fatalf("value %g, want %g", got, want)
				}
				if math.Abs(q.Residual-math.Abs(c)*p.Residual) > 1e-4 {
					rt.Fatalf("residual %g, want %g times %g", q.Residual, c, p.Residual)
				}
			})
		})
	}
}

// Quantiles follow level and unit of a series, and lie within it.
func TestQuantilesFollowTheUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := series(rt, 3)
		a := rapid.Float64Range(-1e3, 1e3).Draw(rt, "offset")
		c := rapid.Float64Range(0.01, 100).Draw(rt, "scale")
		p := rapid.Float64Range(0, 1).Draw(rt, "p")
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = a + c*v
		}
		if !alike(Quantile(y, p), a+c*Quantile(x, p), 1e-9) {
			rt.Fatalf("quantile %g of %g", p, Quantile(y, p))
		}
		if q := Quantile(x, p); q < slices.Min(x) || q > slices.Max(x) {
			rt.Fatalf("quantile %g outside of the values", q)
		}
	})
}

// Whatever a device sends: no panic, and nothing written into the inputs.
func TestNothingPanicsAndInputsStay(t *testing.T) {
	odd := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.MaxFloat64}))
	rapid.Check(t, func(rt *rapid.T) {
		x := rapid.SliceOfN(odd, 0, 40).Draw(rt, "x")
		y := rapid.SliceOfN(odd, 0, 40).Draw(rt, "y")
		a, b := odd.Draw(rt, "a"), odd.Draw(rt, "b")
		before := [2][]float64{slices.Clone(x), slices.Clone(y)}
		n := min(len(x), len(y))
		Quantile(x, a)
		Line(x, y)
		TheilSen(x, y)
		Line(x[:n], y[:n])
		TheilSen(x[:n], y[:n])
		for _, g := range [][]int{nil, make([]int, n), alone(n)} {
			s, _ := Sen(x[:n], y[:n], g, a)
			s.Crossing(a, b, a)
			FindJump(x[:n], y[:n], g)
			FindJump(count(n), y[:n], g)
		}
		CusumOf(x, a, b, b)
		Inflation(x)
		for k, now := range [][]float64{x, y} {
			for i := range now {
				if math.Float64bits(now[i]) != math.Float64bits(before[k][i]) {
					rt.Fatalf("input %d changed at %d", k, i)
				}
			}
		}
	})
}
