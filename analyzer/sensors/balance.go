package sensors

import (
	"math"
	"slices"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	// waveBins is the number of parts that the time from count to count is folded into: eight of each of the two
	// strokes that a count may be. A booster delivers in the second part of a stroke only, once the chamber's pressure has
	// passed the outlet's, so two neighbours of eight lie in the first one.
	waveBins = 16
	// steep is the number of parts over which a slope is taken, and lowest how many of the steepest falls are averaged.
	steep, lowest = 2, 2
	// mostBias is the share of the expected lift by which noise may steepen the falls, own choice; counts are folded until it is less.
	mostBias = 0.05
	// leastFolded is the number of counts folded at least, own choice: what a consumer draws in a moment then is no fall of each count.
	leastFolded = 30
	// slowest is the longest time of a count, s, own choice: slower ones are throttled by a governor, which opens with what is drawn.
	slowest = 1.6
	// quickest is the largest lift of a count over the absolute outlet, own choice: a consumer that draws from so small a space moves it as much.
	quickest = 0.1
	// mostFolded is the number of counts folded at most. Own choice.
	mostFolded = 200
	// keptBalances is how many balances are remembered.
	keptBalances = 24
)

// Balance is the outlet's mass balance from count to count. What consumers and leaks draw shows as its fall while
// nothing is delivered, so the air of a count is known whatever is drawn:
//
//	lift = rise + fall T
//
// rise is from count to count, fall the steepest slope within, T the time of a count. Its share of the lift that the
// plate leads to expect is 1 where plate, counter and readings are right. Fields are exported for snapshots only.
type Balance struct {
	Wave, Seen         [waveBins]float64 // sums of readings above the mean of their count, Pa, and their number
	Rise, Expect, Took float64           // sums: Pa, Pa, s
	N, Samples         float64
	Ring               [keptBalances]float64 // shares, newest first
	Kept               int
	Slow               bool // the newest one is of slow counts
}

// add adds the course of a count.
func (b *Balance) add(c *course, noise float64, p *station.Plate) {
	e := expected(c.Lift, p)
	if e <= 0 || c.Took > slowest || p.Sensor != station.AtTank {
		return
	}
	n := 0.0
	for _, x := range c.N[1] {
		n += x
	}
	if n < waveBins*0.75 {
		return
	}
	for i := range waveBins {
		b.Wave[i], b.Seen[i] = b.Wave[i]+c.Wave[1][i], b.Seen[i]+c.N[1][i]
		b.Samples += c.N[1][i]
	}
	b.Rise, b.Expect, b.Took, b.N = b.Rise+c.Rise, b.Expect+e, b.Took+c.Took, b.N+1
	if b.N < leastFolded {
		return
	}
	// a slope over steep parts holds the noise of two parts
	bias := noise * math.Sqrt2 / math.Sqrt(b.Samples/waveBins) * waveBins / steep
	lift := max(b.Expect, b.Rise+b.fall()) / b.N
	if bias > mostBias*lift && b.N < mostFolded {
		return
	}
	if bias <= 2*mostBias*lift && lift < quickest*(c.Out+float64(p.AmbientPressure())) {
		copy(b.Ring[1:], b.Ring[:])
		b.Ring[0] = (b.Rise + b.fall()) / b.Expect
		b.Kept = min(b.Kept+1, keptBalances)
	}
	b.Wave, b.Seen, b.Rise, b.Expect, b.Took, b.N, b.Samples = [waveBins]float64{}, [waveBins]float64{}, 0, 0, 0, 0, 0
}

// fall returns the fall of the folded counts while nothing is delivered, times their time, Pa.
func (b *Balance) fall() float64 {
	var s [waveBins - steep]float64
	for i := range s {
		s[i] = b.Wave[i]/max(1, b.Seen[i]) - b.Wave[i+steep]/max(1, b.Seen[i+steep])
	}
	slices.Sort(s[:])
	sum := 0.0
	for _, x := range s[len(s)-lowest:] {
		sum += x
	}
	return max(0, b.N*sum/lowest*waveBins/steep)
}

// Share returns the median share and half the range of the middle half; NaN where too few are known.
func (b *Balance) Share() (share, spread float64) {
	if b.Kept < 5 {
		return math.NaN(), 0
	}
	v := b.Ring
	s := v[:b.Kept]
	slices.Sort(s)
	return s[len(s)/2], (s[len(s)*3/4] - s[len(s)/4]) / 2
}

// expected returns the lift of a count, Pa: of a closed tank that has no time to give off heat, from the mass balance
//
//	kappa p1 V_b eta/V_t, times the strokes of a count
//
// 0 where the plate does not suffice. eta is held within what any booster has, so that a wrong reading does not
// hide behind it.
func expected(l Lift, p *station.Plate) float64 {
	if p.TankVolume <= 0 || p.SweptBoost <= 0 || p.Sensor == station.AtBranch {
		return 0
	}
	n := strokesOf(p)
	amb := p.AmbientPressure()
	p1, p2 := station.Gauge(l.In).Absolute(amb), station.Gauge(l.Out).Absolute(amb)
	eta := mostEta
	if p1 > 0 && p2 > 0 {
		eta = max(leastEta, min(mostEta, air.VolumetricEfficiency(p1, p2, air.Pace{Mean: l.Took / n})))
	}
	return n * air.Kappa * float64(p1) * p.SweptBoost * eta / p.TankVolume * warmth(p1, p2)
}

const (
	// leastEta and mostEta bound the volumetric efficiency of a booster in order: a dead volume of 12 % at p2/p1 = 3
	// leaves 0.85, a quick one loses a tenth more. Common practice, no source.
	leastEta, mostEta = 0.75, 0.97
)

// strokesOf returns the strokes of a count by the plate.
func strokesOf(p *station.Plate) float64 {
	if p.Counts == station.CountsCycles {
		return 2
	}
	return 1
}

// warmth returns by how much warmer than the inlet's air delivered air is, the mean of none and of isentropic compression:
//
//	(p2/p1)^((kappa-1)/(2 kappa))
func warmth(p1, p2 station.Absolute) float64 {
	return math.Pow(max(1, min(4, float64(p2/p1))), (air.Kappa-1)/(2*air.Kappa))
}
