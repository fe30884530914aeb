package engine

import "math"

const (
	countSpan  = 900.0 // s: over longer ones rounds do not serve to count strokes
	settleFrom = 0.02  // share by which the falls must have become slower before cooling counts, fully at
	settleFull = 0.06  // this
)

// roundSum is what rounds of recharging and standing tell together. Flows are m³/s ANR.
type roundSum struct {
	Seconds, Stood, Outlet float64 // s, s, Pa gauge
	Flow                   float64 // delivered on the mean of the last rounds
	Fall                   float64 // mean of what the falls between tell
	Told                   float64 // lost by the falls, on the mean of the whole time
	Gas                    float64 // m³ ANR delivered over all rounds that were counted
	Settled                float64 // share of Flow that is left once the tank has cooled
	Alike, Even            bool
}

// enough gives how many of the last rounds tell a flow, 0 while too few were seen.
func (r *rounds) enough() int {
	seconds, least := 0.0, math.Inf(1)
	for n := 1; n <= r.Kept; n++ {
		x := r.back(n)
		seconds += x.Seconds
		least = min(least, x.Stood)
		if n >= leastRounds && seconds >= roundsSpan || n >= fewRounds && seconds >= fewSpan && least >= longStand {
			return n
		}
	}
	return 0
}

// balance sums the last n rounds. While a tank cools its falls are faster than the leak's and so is
// what the strokes make up, by the same factor: the ratio
//
//	R = sum of air/sum of (fall time)
//
// belongs to the station, and the more rounds it is taken over the less it matters that
// strokes are counted in wholes. So R is that of all rounds of a quarter of an hour that fit it, the flow R times
// the mean fall of the last n, and Settled the fall that is left once it has cooled over that mean.
// Rounds are alike where their falls are within 35 %, and their air within 20 % and two strokes of
// R fall time; even where both halves are.
func (r *rounds) balance(n int, stroke, unseen float64) roundSum {
	b := roundSum{Alike: true}
	var fs float64
	for i := 1; i <= n; i++ {
		x := r.back(i)
		b.Seconds, b.Stood, b.Outlet = b.Seconds+x.Seconds, b.Stood+x.Stood, b.Outlet+x.Outlet*x.Seconds
		b.Fall, b.Gas, fs = b.Fall+x.Fall/float64(n), b.Gas+x.Air, fs+x.Fall*x.Seconds
	}
	b.Outlet /= b.Seconds
	b.Told = b.Fall * b.Stood / b.Seconds
	ratio := b.Gas / fs
	fits := func(x round) bool {
		want := ratio * x.Fall * x.Seconds
		return math.Abs(x.Air-want) <= 0.2*want+(1.2+unseen)*stroke
	}
	var gas, fall [2]float64 // of the late and the early half
	for i := 1; i <= n; i++ {
		x := r.back(i)
		b.Alike = b.Alike && math.Abs(x.Fall-b.Fall) <= 0.35*b.Fall && fits(x)
		h := min(1, 2*(i-1)/n)
		gas[h], fall[h] = gas[h]+x.Air, fall[h]+x.Fall*x.Seconds
	}
	b.Even = math.Abs(gas[0]/fall[0]-gas[1]/fall[1]) <= 0.1*ratio+(1+unseen)*stroke/min(fall[0], fall[1])
	mean := fs / b.Seconds
	for i, all := n+1, b.Seconds; i <= r.Kept && all < countSpan; i++ {
		x := r.back(i)
		if !fits(x) {
			break
		}
		b.Gas, fs, all = b.Gas+x.Air, fs+x.Fall*x.Seconds, all+x.Seconds
		ratio = b.Gas / fs
	}
	b.Flow, b.Settled = ratio*mean, r.settled(n, mean)
	return b
}

// settled gives the fall that is left once the tank has cooled, share of the mean: that of an
// exponential through three thirds of the rounds, no further below the last than that is below the
// one before.
func (r *rounds) settled(n int, mean float64) float64 {
	var f, c [3]float64
	for i := 1; i <= n; i++ {
		h := 2 - 3*(i-1)/n
		f[h], c[h] = f[h]+r.back(i).Fall, c[h]+1
	}
	for h := range f {
		f[h] /= c[h]
	}
	first, last := f[0]-f[1], f[1]-f[2]
	w := ((f[0]-f[2])/mean - settleFrom) / (settleFull - settleFrom)
	if !(w > 0) || last <= 0 {
		return 1
	}
	left := last
	if first > last {
		left = min(last, last*last/(first-last))
	}
	return 1 - min(w, 1)*(mean-f[2]+left)/mean
}
