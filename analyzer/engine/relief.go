package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	popsMost   = 32
	popsAge    = 10 * station.Minute60
	popsWithin = 2 * station.Second // from the top of a rise to 2 % below it: a quick fall
	popsSettle = 3 * station.Second // after the lowest of a fall, by which the strokes of it are counted
	// popsFall is the least fall, share of the gauge pressure. Relief valves close 2 to 15 % below where they
	// open (common practice, no source).
	popsFall = 0.02
	popsTurn = 0.01 // share of the gauge pressure by which the outlet rises once a fall is over
	popsBand = 0.01 // by which tops at one level differ, share of it (common practice, no source)
	// popsAir is the least air that leaves the tank in a fall, in strokes. A demand that the booster has just
	// outrun takes as long for it as so many strokes, so a piston that a governor stops meanwhile misses them:
	// popsStop is the longest time between strokes, in usual ones, that is no stop (own choice, no source).
	popsAir  = 4.0
	popsStop = 2.5
	popsFew  = 5 // tops at one level before anything is said
	// popsChance is the chance, of demand that does not know the pressure, below which tops at one
	// level are none (own choice).
	popsChance = 1e-4
	reliefNear = 0.05 // by which tops may be off the relief pressure of the plate: valve and sensor
	setNear    = 0.02 // by which tops at the governor's set pressure may be off it
	overSet    = 0.03 // by which tops are over set where no relief pressure is given
)

// pops follows a relief valve that pops: it opens fully at its pressure, lets out more than the booster
// delivers, and closes some per cent lower. So
//
//   - the outlet rises under strokes: below that pressure less is drawn than they deliver;
//   - it falls while strokes go on: more is drawn than they deliver, until the valve closes. How fast
//     depends on the valve's size over the tank's: 0.5 s in a small tank, minutes where the valve is just
//     larger than the booster;
//   - the falls begin at one pressure, and nothing is ever read above it.
//
// A governor that ends a run stops the piston, so strokes do not go on; its tops lie at set.
// A consumer does not know the pressure: of n falls that begin at random in a rise by R, k
// or more begin in the upper band B of the level by chance with the binomial tail at B/R. Fields are
// exported for snapshots only.
type pops struct {
	Top, TopMean  float64 // Pa gauge, of the present rise: highest sample, highest mean of a slot
	TopAt         station.Instant
	Low           float64 // lowest mean of the fall, Pa gauge
	LowAt         station.Instant
	Falls         bool                // the fall is not over
	Waits         bool                // Next waits for the strokes of its fall
	Stroke        station.Instant     // end of the last stroke
	Stops         [2]station.Interval // in which the piston last stood between two strokes, newest first
	Next          pop
	Until         station.Instant // when the fall of Next was at its lowest
	Ring          [popsMost]pop
	N             int
	Highest       [10]float32 // by minute
	HighestMinute int64
}

// pop is a fall of the outlet while strokes go on.
type pop struct {
	At          station.Instant
	Level, Fell float32 // Pa gauge; Pa
	Quick       bool    // it fell by popsFall within popsWithin
}

// watchRelief adds the slot that ended.
func (e *Engine) watchRelief(end station.Instant) {
	r := &e.Pops
	if e.Outlet.N == 0 || e.State.ShutdownAt != 0 || e.Doubt.Who != 0 || e.passing() {
		r.Top, r.TopMean, r.Falls, r.Waits = 0, 0, false, false
		e.statePops(end)
		return
	}
	r.highest(float32(e.Outlet.Mean), end)
	if r.Waits && end.Sub(r.Until) >= popsSettle {
		e.judgePop()
	}
	if r.turn(e.Outlet.Mean, e.Outlet.High, end) {
		if r.Waits { // the next fall is over sooner than the strokes of the last one were awaited
			e.judgePop()
		}
		r.end(e.Outlet.Mean, e.Outlet.High, end)
	}
	e.statePops(end)
}

// turn follows rises and falls, and reports whether a fall is over.
func (r *pops) turn(m, high float64, end station.Instant) bool {
	switch {
	case r.Falls && m <= r.Low:
		r.Low, r.LowAt = m, end
	case r.Falls:
		return m >= (1+popsTurn)*r.Low
	case m >= r.TopMean:
		r.Top, r.TopMean, r.TopAt = high, m, end
	case m <= (1-popsFall)*r.TopMean:
		r.Falls, r.Low, r.LowAt = true, m, end
	default:
		r.Top = max(r.Top, high)
	}
	return false
}

// end keeps the fall that is over until its strokes are known, and begins a rise.
func (r *pops) end(m, high float64, end station.Instant) {
	r.Next = pop{At: r.TopAt, Level: float32(r.Top), Fell: float32(r.TopMean - r.Low), Quick: r.LowAt.Sub(r.TopAt) <= popsWithin}
	r.Until, r.Waits, r.Falls = r.LowAt, true, false
	r.Top, r.TopMean, r.TopAt = high, m, end
}

// judgePop keeps the fall that waits if strokes went on meanwhile.
func (e *Engine) judgePop() {
	r := &e.Pops
	r.Waits = false
	if e.strokesWentOn() && e.outweighs(&r.Next) {
		copy(r.Ring[:], r.Ring[1:])
		r.Ring[popsMost-1] = r.Next
		r.N = min(r.N+1, popsMost)
	}
}

// highest keeps the highest outlet of each of the last ten minutes.
func (r *pops) highest(p float32, end station.Instant) {
	minute := int64(end-1) / station.Minute60
	for m := max(r.HighestMinute+1, minute-9); m <= minute; m++ {
		r.Highest[m%10] = 0
	}
	r.HighestMinute = minute
	r.Highest[minute%10] = max(r.Highest[minute%10], p)
}

// stroke handles the end of a stroke.
func (r *pops) stroke(at station.Instant, usual int64) {
	if usual > 0 && float64(at.Sub(r.Stroke)) > popsStop*float64(usual) {
		r.Stops[1], r.Stops[0] = r.Stops[0], station.Interval{From: r.Stroke, To: at}
	}
	r.Stroke = at
}

// strokesWentOn reports whether the piston did not stop from a second before the top of the fall that waits
// to its lowest.
func (e *Engine) strokesWentOn() bool {
	r, usual := &e.Pops, e.usualInterval()
	if usual <= 0 || float64(r.Until.Sub(r.Stroke)) > popsStop*float64(usual) {
		return false
	}
	for _, s := range r.Stops {
		if s.To > r.Next.At.Add(-station.Second) && s.From < r.Until {
			return false
		}
	}
	return true
}

// outweighs reports whether a fall set free the air of some strokes: what the tank lost, and what was
// delivered meanwhile by a piston that did not stop,
//
//	(p_top - p_low) V/p_0 + n m_b,  n >= t/(popsStop usual intervals)
func (e *Engine) outweighs(p *pop) bool {
	a, reason := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	if reason != "" {
		return false
	}
	fewest := float64(e.Pops.Until.Sub(p.At)) / (popsStop * float64(e.usualInterval()))
	return float64(p.Fell)*e.Plate.TankVolume/float64(air.P0ANR) >= (popsAir-math.Floor(fewest))*a.Boost.Value*1e-3
}

// statePops states how often the outlet fell sharply from one pressure, and which.
func (e *Engine) statePops(end station.Instant) {
	if end.Floor(station.Second) != end {
		return
	}
	set, relief := e.set(), float64(e.Plate.Relief)
	level, n := e.Pops.tops(end, relief <= 0)
	atSet := set > 0 && math.Abs(level/set-1) < setNear
	near := relief > 0 && math.Abs(level/relief-1) < reliefNear || relief <= 0 && set > 0 && level > (1+overSet)*set
	if n > 0 && (atSet || !near) {
		n = 0
	}
	e.Est[station.ReliefPops] = station.Estimate{Value: float64(n), Method: station.MethodTraces, Confidence: 0.8, At: end}
	e.Est[station.PopPressure] = station.Estimate{Value: level, Method: station.MethodTraces, Confidence: 0.8, At: end}
	if n == 0 {
		e.Est[station.PopPressure] = station.Unknown(firstReasons[station.PopPressure])
	}
}

// tops returns the level, Pa gauge, at which falls of the last ten minutes begin, and how many do;
// none where chance explains it. Where no relief pressure is known, quick ones alone count: a slow fall from a
// level that only the set pressure is known of may be a soft governor's.
func (r *pops) tops(end station.Instant, quick bool) (level float64, n int) {
	all, fell := 0, 0.0
	for i := popsMost - r.N; i < popsMost; i++ {
		if p := &r.Ring[i]; end.Sub(p.At) <= popsAge && (p.Quick || !quick) {
			level, all = max(level, float64(p.Level)), all+1
		}
	}
	for i := popsMost - r.N; i < popsMost; i++ {
		if p := &r.Ring[i]; end.Sub(p.At) <= popsAge && (p.Quick || !quick) && float64(p.Level) >= (1-popsBand)*level {
			n, fell = n+1, fell+float64(p.Fell)
		}
	}
	if n < popsFew {
		return level, 0
	}
	for _, p := range r.Highest {
		if float64(p) > (1+popsBand)*level {
			return level, 0 // it is not clipped there
		}
	}
	share := min(0.5, popsBand*level/(fell/float64(n)))
	if tail(all, n, share) > popsChance {
		return level, 0
	}
	return level, n
}

// tail returns the chance of k or more of n, each with chance p: the binomial distribution.
func tail(n, k int, p float64) float64 {
	sum, term := 0.0, math.Pow(p, float64(n))
	for i := n; i >= k; i-- {
		sum += term
		term *= float64(i) / float64(n-i+1) * (1 - p) / p
	}
	return sum
}

func (e *Engine) popInputs() []station.Input {
	r := &e.Pops
	level, n := r.tops(e.Slot, e.Plate.Relief <= 0)
	out := []station.Input{measured("falls that are kept, while strokes went on", float64(r.N), "")}
	if level > 0 {
		out = append(out, measured("highest pressure at which one began", level*1e-3, "kPa gauge"), computed("that begin there, beyond chance", float64(n), ""))
	}
	return append(out, plate("relief pressure", float64(e.Plate.Relief), 1e-3, "kPa gauge"), e.setGiven(),
		plate("tank volume with piping", e.Plate.TankVolume, 1e3, "L"),
		assumed("least air of a fall, strokes", popsAir, "", "own choice, no source"),
		assumed("longest time between strokes that is no stop, usual ones", popsStop, "", "own choice, no source"),
		assumed("least fall", 100*popsFall, "% of the gauge pressure", "common practice, no source"),
		assumed("tops at one level differ by less than", 100*popsBand, "%", "common practice, no source"),
		assumed("off the relief pressure by less than", 100*reliefNear, "%", "common practice, no source"))
}
