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

// Rises do not change with the unit of a series, nor with values repeated.
func TestRisesAreInvariant(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := series(rt, 5)
		k := rapid.Float64Range(0.01, 50).Draw(rt, "scale")
		lo, hi := Band(x, 0.3, 0.7)
		if hi-lo < 1e-6 {
			return
		}
		want := Rises(x, lo, hi)
		var twice []float64
		for _, v := range x {
			twice = append(twice, k*v, k*v)
		}
		got := Rises(twice, k*lo, k*hi)
		if len(got) != len(want) {
			rt.Fatalf("%d rises, scaled and doubled %d", len(want), len(got))
		}
		for i := range got {
			if got[i] != 2*want[i] {
				rt.Fatalf("rise %d at %d, want %d", i, got[i], 2*want[i])
			}
		}
	})
}

// Between two rises lies a low; and Rises adds to Hysteresis at most the first, where the
// series reached high before it was ever low.
func TestHysteresisSawALowBeforeEachRise(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := series(rt, 0)
		lo := rapid.Float64Range(-100, 100).Draw(rt, "low")
		hi := lo + rapid.Float64Range(0.001, 100).Draw(rt, "width")
		strict, began := Hysteresis(x, lo, hi), 0
		for _, at := range strict {
			if x[at] < hi || slices.Min(x[began:at+1]) > lo {
				rt.Fatalf("rise at %d with no low since %d", at, began)
			}
			began = at
		}
		all := Rises(x, lo, hi)
		if extra := len(all) - len(strict); extra == 1 {
			if slices.Min(x[:all[0]+1]) <= lo {
				rt.Fatalf("rise at %d was left out after a low", all[0])
			}
			all = all[1:]
		}
		if !slices.Equal(all, strict) {
			rt.Fatalf("rises %v and %v", all, strict)
		}
	})
}

// A later clock changes no period, a clock in another unit scales them, and periods add up.
func TestPeriodsFollowTheClock(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := series(rt, 5)
		shift := rapid.Float64Range(-1e5, 1e5).Draw(rt, "shift")
		k := rapid.Float64Range(0.001, 1000).Draw(rt, "unit")
		ts, later, scaled := make([]float64, len(x)), make([]float64, len(x)), make([]float64, len(x))
		for i := range x {
			ts[i] = 0.01 * float64(i*i) // uneven steps
			later[i], scaled[i] = ts[i]+shift, k*ts[i]
		}
		at := Hysteresis(x, -20, 20)
		p, q, s := Periods(ts, at), Periods(later, at), Periods(scaled, at)
		if len(p) != max(0, len(at)-1) {
			rt.Fatalf("%d periods of %d rises", len(p), len(at))
		}
		sum := 0.0
		for i := range p {
			if math.Abs(p[i]-q[i]) > 1e-9 || !alike(k*p[i], s[i], 1e-12) {
				rt.Fatalf("period %g, later %g, scaled %g", p[i], q[i], s[i])
			}
			sum += p[i]
		}
		if len(p) > 0 && !alike(sum, ts[at[len(at)-1]]-ts[at[0]], 1e-12) {
			rt.Fatalf("the periods add up to %g", sum)
		}
	})
}

// Every k-th sample of a clean wave, at ten or more a period, gives the same cycles, each
// at most k samples late.
func TestDecimationKeepsTheCycles(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		period := rapid.IntRange(60, 200).Draw(rt, "period")
		cycles := rapid.IntRange(2, 12).Draw(rt, "cycles")
		k := rapid.IntRange(2, period/10).Draw(rt, "k")
		var full, thin []float64
		for i := range period * cycles {
			v := -math.Cos(2 * math.Pi * float64(i) / float64(period)) // begins and ends low
			full = append(full, v)
			if i%k == 0 {
				thin = append(thin, v)
			}
		}
		a, b := Hysteresis(full, -0.4, 0.4), Hysteresis(thin, -0.4, 0.4)
		if len(a) != cycles || len(b) != cycles {
			rt.Fatalf("%d cycles, %d in full, %d of every %d-th", cycles, len(a), len(b), k)
		}
		for i := range a {
			if late := b[i]*k - a[i]; late < 0 || late >= k {
				rt.Fatalf("cycle %d late by %d samples of %d", i, late, k)
			}
		}
	})
}

// Tops and bottoms in turn, each pair further apart than the swing; and an upside-down
// series turns at the same places.
func TestTurnsAlternate(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := series(rt, 0)
		swing := rapid.Float64Range(0, 150).Draw(rt, "swing")
		at := Turns(x, swing)
		for i := 1; i < len(at); i++ {
			step := x[at[i]] - x[at[i-1]]
			if at[i] <= at[i-1] || math.Abs(step) <= swing {
				rt.Fatalf("turns %v: step %g", at, step)
			}
			if i > 1 && step*(x[at[i-1]]-x[at[i-2]]) > 0 {
				rt.Fatalf("turns %v do not alternate", at)
			}
		}
		down := make([]float64, len(x))
		for i, v := range x {
			down[i] = -v
		}
		if got := Turns(down, swing); !slices.Equal(got, at) {
			rt.Fatalf("turns %v, upside down %v", at, got)
		}
		if len(x) > 0 && slices.Max(x)-slices.Min(x) > swing && len(at) == 0 {
			rt.Fatalf("a range above the swing of %g has no turn", swing)
		}
	})
}

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

// Level and unit of a series: quantiles and bands go along, noise only with the unit.
func TestLevelsAndNoiseFollowTheUnit(t *testing.T) {
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
		l, h := Band(x, 0.3, 0.7)
		l2, h2 := Band(y, 0.3, 0.7)
		if !alike(l2, a+c*l, 1e-9) || !alike(h2, a+c*h, 1e-9) || l > h {
			rt.Fatalf("band %g-%g, was %g-%g", l2, h2, l, h)
		}
		if !alike(Noise(y), c*Noise(x), 1e-9) {
			rt.Fatalf("noise %g, want %g times %g", Noise(y), c, Noise(x))
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
		Band(x, a, b)
		Noise(x)
		Turns(x, a)
		Periods(x, Hysteresis(x, a, b))
		Periods(x, Rises(x, a, b))
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
