package stroke

import "math"

const (
	combLevels = 5
	combWiden  = 4  // times, from level to level
	combLags   = 26 // bins back that are compared
	combMemory = 400
	combLeast  = 64 // bins before a level is judged
	combEvery  = 24 // finest bins between judgements
	combFill   = 4  // bins that one sample may fill
	lowLag     = 6  // a shorter one is seen better a level below
)

// Comb finds the draw after which the pressures repeat themselves, by autocorrelation over
// the draw instead of time: a piston that stands in between, or runs at another speed, does
// not matter there. It tells how much a stroke draws where no single end stands out of the
// noise. Both pressures are averaged over bins of draw, the bins of each level four times as
// wide as those of the level below, and the correlations are averaged over the last few hundred
// bins: so strokes are found from a few samples each to a thousand. Fields are exported for
// snapshots only. The zero value waits for a width.
type Comb struct {
	Bin      float64 // width of the finest bins, in draw, 0: not chosen
	Start    float64
	At       int64 // bin that is being filled, counted from Start
	Sum      [2]float64
	Cnt      int
	Levels   [combLevels]combLevel
	Judged   int64   // finest bins at the last judgement
	Period   float64 // draw of a stroke, 0: nothing repeats
	Strength float64 // how far its correlation stands out, 0 to 2
}

// combLevel holds correlations at one width of the bins: of the inlet, and of the outlet.
type combLevel struct {
	N    int64
	Mean [2]float64               // lately, Pa
	Past [2][combLags]float32     // of the last bins, less Mean, newest first
	R    [2][combLags + 1]float32 // mean product with the bin so many before, Pa²
	Sum  [2]float64               // of the bins that the next level waits for
	Cnt  int
}

// Put takes the pressures of inlet and outlet, Pa, at a draw.
func (c *Comb) Put(area, inlet, outlet float64) {
	k := int64((area - c.Start) / c.Bin)
	if k > c.At && c.Cnt > 0 {
		n := float64(c.Cnt)
		x := [2]float64{c.Sum[0] / n, c.Sum[1] / n}
		for fill := min(k-c.At, combFill); fill > 0; fill-- {
			c.push(x)
		}
		c.Sum, c.Cnt = [2]float64{}, 0
	}
	c.At = max(c.At, k)
	c.Sum[0] += inlet
	c.Sum[1] += outlet
	c.Cnt++
}

// push takes the means of a finest bin to all levels.
func (c *Comb) push(x [2]float64) {
	for i := range c.Levels {
		l := &c.Levels[i]
		l.put(x)
		l.Sum[0] += x[0]
		l.Sum[1] += x[1]
		if l.Cnt++; l.Cnt < combWiden {
			return
		}
		x = [2]float64{l.Sum[0] / combWiden, l.Sum[1] / combWiden}
		l.Sum, l.Cnt = [2]float64{}, 0
	}
}

// put takes the means of a bin.
func (l *combLevel) put(x [2]float64) {
	if l.N == 0 {
		l.Mean = x
	}
	l.N++
	w := 1 / float32(min(l.N, combMemory))
	for c := range x {
		l.Mean[c] += (x[c] - l.Mean[c]) / float64(min(l.N, 2*combLags))
		d := float32(x[c] - l.Mean[c])
		past, r := &l.Past[c], &l.R[c]
		r[0] += w * (d*d - r[0])
		for i, p := range past {
			r[i+1] += w * (d*p - r[i+1])
		}
		copy(past[1:], past[:])
		past[0] = d
	}
}

// Restart forgets all and takes finest bins of another width from here on.
func (c *Comb) Restart(area, bin float64) { *c = Comb{Bin: bin, Start: area} }

// Due tells whether there is enough that is new to judge.
func (c *Comb) Due() bool {
	n := c.Levels[0].N
	return n >= combLeast && n-c.Judged >= combEvery
}

// Judge looks for the shortest draw at which the pressures agree: from the finest bins to the
// widest, since what repeats over many strokes, such as runs up to the set pressure, agrees too.
// A draw of most or more is one of those; 0: no limit is known.
func (c *Comb) Judge(most float64) {
	c.Judged, c.Period, c.Strength = c.Levels[0].N, 0, 0
	for i := range c.Levels {
		l := &c.Levels[i]
		if l.N < combLeast {
			return
		}
		low := lowLag
		if i == 0 {
			low = 2
		}
		for ch := range l.R {
			r := l.correlation(ch)
			if k, v := shortest(&r, low, 7/math.Sqrt(float64(min(l.N, 2*combMemory)))); k > 0 && v > c.Strength && (most <= 0 || c.width(i)*float64(k) < most) {
				c.Period, c.Strength = c.width(i)*refine(r[:], k), v
			}
		}
		if c.Period > 0 {
			return
		}
	}
}

// shortest gives the shortest lag from low on at which the correlations stand out of the valley
// before it by least, and nearly as far as at any other, and how far; 0: none. With unlike sides
// they agree better over a whole cycle.
func shortest(r *[combLags + 1]float64, low int, least float64) (lag int, by float64) {
	var over [combLags]float64
	valley, most := r[1], least
	for k := 2; k < combLags; k++ {
		valley = min(valley, r[k])
		if k >= low && r[k] > r[k-1] && r[k] >= r[k+1] && r[k] > 0.1 {
			over[k] = r[k] - valley
			most = max(most, over[k])
		}
	}
	for k, v := range over {
		if v >= least && v >= 0.5*most {
			return k, v
		}
	}
	return 0, 0
}

// width gives the width of a level's bins, in draw.
func (c *Comb) width(level int) float64 { return c.Bin * math.Pow(combWiden, float64(level)) }

// correlation gives a channel's correlations, 1 at lag 0.
func (l *combLevel) correlation(ch int) (r [combLags + 1]float64) {
	if l.R[ch][0] <= 0 {
		return r
	}
	for i, v := range l.R[ch] {
		r[i] = float64(v) / float64(l.R[ch][0])
	}
	return r
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
