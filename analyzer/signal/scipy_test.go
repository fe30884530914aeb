package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"strokewise/deploy/peers"
)

// oneSeries is a series as SciPy is given it.
type oneSeries struct {
	T []float64 `json:"t"`
	Y []float64 `json:"y"`
}

// Slopes, their intervals, tau and p are those of SciPy's theilslopes, kendalltau and linregress
// on the same data: noise, ties, outliers, uneven times, and weeks.
func TestTrendsAgreeWithScipy(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	var all []oneSeries
	for _, n := range []int{8, 11, 30, 56, 84, 200} {
		for kind := range 4 {
			var s oneSeries
			at := 0.0
			for i := range n {
				at++
				if kind == 3 {
					at += 3 * r.Float64()
				}
				v := 0.02*float64(i) + r.NormFloat64()
				if kind == 1 {
					v = math.Round(v)
				}
				if kind == 2 && r.IntN(6) == 0 {
					v += 50
				}
				s.T, s.Y = append(s.T, at), append(s.Y, v)
			}
			all = append(all, s)
		}
	}
	var got []struct{ Sen, Low, High, Tau, P, Slope, SlopeErr, Intercept, InterceptErr float64 }
	peers.Scipy(t, `
from scipy import stats
answer = []
for s in given:
    a = stats.theilslopes(s["y"], s["t"], 0.9)
    k = stats.kendalltau(s["t"], s["y"], method="asymptotic")
    l = stats.linregress(s["t"], s["y"])
    answer.append(dict(Sen=a[0], Low=a[2], High=a[3], Tau=k[0], P=k[1], Slope=l.slope, SlopeErr=l.stderr, Intercept=l.intercept, InterceptErr=l.intercept_stderr))
`, all, &got)
	for i, s := range all {
		w := got[i]
		sen, ok := Sen(s.T, s.Y, nil, 1)
		line, _ := Line(s.T, s.Y)
		robust, _ := TheilSen(s.T, s.Y)
		if !ok {
			t.Fatalf("series %d has no slope", i)
		}
		near(t, "Theil-Sen", sen.Value, w.Sen, 1e-12)
		near(t, "Theil-Sen of TheilSen", robust.Slope, w.Sen, 1e-12)
		near(t, "low", sen.Low, w.Low, 1e-12)
		near(t, "high", sen.High, w.High, 1e-12)
		near(t, "tau", sen.Tau, w.Tau, 1e-12)
		near(t, "p without the correction for continuity", math.Erfc(math.Abs(sen.S)/math.Sqrt(2*sen.Var)), w.P, 1e-9)
		near(t, "slope", line.Slope, w.Slope, 1e-9)
		near(t, "its error", line.SlopeErr, w.SlopeErr, 1e-9)
		near(t, "intercept", line.Intercept, w.Intercept, 1e-9)
		near(t, "its error", line.InterceptErr, w.InterceptErr, 1e-9)
	}
}

// The peaks of SciPy's electrocardiogram (Debian python3-scipy, offline). SciPy's documentation
// has the distances in x[2000:4000] with distance 150, and 499 peaks in the whole trace
// with distance 150 and prominence 0.7 (seen, computed): the peer gives those. The tops of
// Turns are its peaks of prominence above the swing, to the sample, but for one kind: of
// equal heights with a dip of less than the swing between, Turns has the first, SciPy all.
// The trace has steps of 0.005; the swings lie between them.
func TestTurnsAgreeWithScipysPeaks(t *testing.T) {
	var got struct {
		X             []float64
		Documented    []int
		Whole         int
		Peaks, Stubby []int
	}
	peers.Scipy(t, `
from scipy.misc import electrocardiogram
from scipy.signal import find_peaks
x = electrocardiogram()
answer = dict(X=x, Documented=np.diff(find_peaks(x[2000:4000], distance=150)[0]), Whole=len(find_peaks(x, distance=150, prominence=0.7)[0]),
    Peaks=find_peaks(x, prominence=0.6975, plateau_size=1)[1]["left_edges"], Stubby=find_peaks(x, prominence=0.2975, plateau_size=1)[1]["left_edges"])
`, nil, &got)
	documented := []int{186, 180, 177, 171, 177, 169, 167, 164, 158, 162, 172}
	if !slices.Equal(got.Documented, documented) || got.Whole != 499 || len(got.X) != 108_000 {
		t.Fatalf("the peer gives %v and %d peaks: not what its documentation says", got.Documented, got.Whole)
	}
	part := tops(got.X[2000:4000], 0.7)
	var steps []int
	for i := 1; i < len(part); i++ {
		steps = append(steps, part[i]-part[i-1])
	}
	if !slices.Equal(steps, documented) {
		t.Errorf("distances of the beats %v, documented %v", steps, documented)
	}
	for swing, want := range map[float64][]int{0.6975: got.Peaks, 0.2975: got.Stubby} {
		have := tops(got.X, swing)
		missed, more := without(want, have), without(have, want)
		t.Logf("swing %g: %d tops, %d peaks; only SciPy's %v, only ours %v", swing, len(have), len(want), missed, more)
		missed = slices.DeleteFunc(missed, func(k int) bool { return repeats(got.X, k, have, swing) })
		if len(missed)+len(more) > 0 {
			t.Errorf("swing %g: only SciPy's %v, only ours %v", swing, missed, more)
		}
	}
}

// repeats tells whether the last top before k is as high, with no dip of more than the swing
// between.
func repeats(x []float64, k int, tops []int, swing float64) bool {
	at, _ := slices.BinarySearch(tops, k)
	if at == 0 {
		return false
	}
	before := tops[at-1]
	return x[before] == x[k] && slices.Min(x[before:k]) > x[k]-swing
}

// tops gives the turns of x that are tops.
func tops(x []float64, swing float64) []int {
	var out []int
	at := Turns(x, swing)
	for i, k := range at {
		next := len(x) - 1
		if i+1 < len(at) {
			next = at[i+1]
		}
		if x[k] > x[next] && k > 0 {
			out = append(out, k)
		}
	}
	return out
}

func without(a, b []int) []int {
	return slices.DeleteFunc(slices.Clone(a), func(v int) bool { return slices.Contains(b, v) })
}
