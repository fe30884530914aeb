package stroke

import "math"

const (
	combBins  = 512
	combEvery = 96  // bins between judgements
	combLeast = 192 // bins before the first
)

// Comb finds the draw after which the score of Ends repeats itself, by autocorrelation over
// the draw instead of time: a piston that stands in between, or runs at another speed, does
// not matter there. It tells how much a stroke draws where no single end stands out of the
// noise. Fields are exported for snapshots only. The zero value waits for a width.
type Comb struct {
	Bin      float64 // width of a bin, in draw, 0: not chosen
	Start    float64
	At       int64 // bin that is being filled, counted from Start
	Sum      float64
	Cnt      int
	Ring     [combBins]float32 // mean scores
	N        int64             // bins filled
	Judged   int64             // N at the last judgement
	Period   float64           // draw of a stroke, 0: nothing repeats
	Strength float64           // autocorrelation there, 0 to 1
}

// Put takes a score at a draw.
func (c *Comb) Put(area, score float64) {
	k := int64((area - c.Start) / c.Bin)
	if k <= c.At {
		if k == c.At {
			c.Sum += math.Min(math.Max(score, -6), 10)
			c.Cnt++
		}
		return
	}
	v := float32(0)
	if c.Cnt > 0 {
		v = float32(c.Sum / float64(c.Cnt))
	}
	for ; c.At < k && k-c.At <= 8; c.At++ {
		c.Ring[c.N%combBins] = v
		c.N++
	}
	c.At, c.Sum, c.Cnt = k, math.Min(math.Max(score, -6), 10), 1
}

// Restart forgets the scores and takes bins of another width from here on.
func (c *Comb) Restart(area, bin float64) {
	c.Bin, c.Start, c.At, c.Sum, c.Cnt, c.N, c.Judged = bin, area, 0, 0, 0, 0, 0
}

// Due tells whether there is enough that is new to judge.
func (c *Comb) Due() bool { return c.N >= combLeast && c.N-c.Judged >= combEvery }

// Judge looks for the shortest lag at which the scores agree nearly as well as at any
// other: with unlike sides they agree better over a whole cycle.
func (c *Comb) Judge() {
	c.Judged, c.Period, c.Strength = c.N, 0, 0
	n := int(min(c.N, combBins))
	var x [combBins]float64
	mean := 0.0
	for i := range n {
		x[i] = float64(c.Ring[(c.N-int64(n)+int64(i))%combBins])
		mean += x[i]
	}
	mean /= float64(n)
	power := 0.0
	for i := range n {
		x[i] -= mean
		power += x[i] * x[i]
	}
	if power <= 0 {
		return
	}
	var r [combBins/3 + 2]float64
	lags := n / 3
	for l := 1; l <= lags+1; l++ {
		s := 0.0
		for i := l; i < n; i++ {
			s += x[i] * x[i-l]
		}
		r[l] = s / power * float64(n) / float64(n-l)
	}
	most := 0.0
	for l := 3; l <= lags; l++ {
		if r[l] > r[l-1] && r[l] >= r[l+1] {
			most = math.Max(most, r[l])
		}
	}
	if most < 5/math.Sqrt(float64(n)) {
		return
	}
	for l := 3; l <= lags; l++ {
		if r[l] > r[l-1] && r[l] >= r[l+1] && r[l] >= 0.5*most {
			c.Period, c.Strength = c.Bin*refine(r[:lags+2], l), r[l]
			return
		}
	}
}

// refine sharpens the lag l by the peaks at its multiples.
func refine(r []float64, l int) float64 {
	best := peak(r, l)
	for m := 2; m <= 8; m++ {
		near := int(best*float64(m) + 0.5)
		if near+3 >= len(r) {
			return best
		}
		at := near
		for k := near - 2; k <= near+2; k++ {
			if k > 1 && r[k] > r[at] {
				at = k
			}
		}
		if r[at] < 0.4*r[l] || r[at] <= r[at-1] || r[at] < r[at+1] {
			return best
		}
		next := peak(r, at) / float64(m)
		if math.Abs(next-float64(l)) > 0.6 {
			return best
		}
		best = next
	}
	return best
}

// peak gives where the parabola through the lag and its neighbours is highest.
func peak(r []float64, l int) float64 {
	a, b, c := r[l-1], r[l], r[l+1]
	if d := a - 2*b + c; d < 0 {
		return float64(l) + 0.5*(a-c)/d
	}
	return float64(l)
}
