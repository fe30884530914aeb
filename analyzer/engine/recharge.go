package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// noQuiet says what the air of a stroke is learned from.
const noQuiet = "no quiet recharges yet that tell: needs some in which nothing but a leak draws, after standing for a minute or more"

const (
	mostQuiet     = 28
	leastQuiet    = 3    // groups of rounds before anything is said
	leastRecharge = 20.0 // strokes in them
	leastStrokes  = 4    // of a round: a shorter one goes on with the next recharge
	quietAge      = 90 * 60 * station.Second
	quietStood    = 40.0 // s of standing before a recharge whose fall is looked at
	cutStroke     = 0.5  // standard deviation, strokes, of what either end of a chain of rounds cuts off: a counter of cycles leaves up to two in doubt
)

// recharge follows quiet recharges of the tank: rounds from just before one recharge to just
// before the next, in which nothing but a leak draws. Over such a round
//
//	N m_b = V (p' - p)/p0 + V rate p_mean t/p0
//
// with the rate of the leak from the fall of the standing outlet. Both ends of a round are
// alike (the piston has stood for long), so the warmth that a recharge brings cancels; the
// rate is that of air.Cooling, which takes the cooling off. Fields are exported for
// snapshots only.
type recharge struct {
	// of the present round
	From         station.Instant // 0: none
	Mark         float64         // outlet just before the recharge, Pa abs
	Strokes      float64
	Plain, Swept float64 // m³ ANR: by the assumed efficiency, and of the swept volume at p1
	Ratio        float64 // sum of (p2/p1)^(1/kappa) - 1
	OutSum, OutN float64 // outlet, Pa abs
	Late         [4]float64
	Stood        float64 // s of the present standing time
	Quiet        bool    // the last standing time was
	Falls, Fell  float64 // sum over its standing times of rate times s, and of s
	Cooling      air.Cooling
	Ring         [mostQuiet]quietRound
	Kept         int
	TankRef      float64 // m³ learned where the plate gives none, 0: not yet
	Line         ratioLine
	Share        float64 // measured over assumed efficiency, 0: not yet
	Scale        float64 // what the share was taken as, over the share, before the delivery changed: a wrong tank changes nothing of a change; 0: it has not
	Base         baseline
}

// quietRound is one round.
type quietRound struct {
	At           station.Instant // its end
	Rise         float64         // m³ ANR that a tank of 1 m³ gained
	Lost         float64         // m³ s ANR: what it lost over the rate of the leak
	Rate         float64         // 1/s, by which the tank fell in its standing times, 0: not told
	Air          float64         // m³ ANR that it took in: Rise + rate Lost
	Strokes      float64
	Plain, Swept float64         // m³ ANR
	Ratio        float64         // mean (p2/p1)^(1/kappa) - 1
	Out          bool            // it does not fit the others: something was drawn
	Chained      bool            // it follows the one before at once
	First        station.Instant // of a group: the end of its first round
}

// stop drops the present round: it is not quiet.
func (r *recharge) stop() { r.From, r.Stood = 0, 0 }

// stroke takes the air of a stroke.
func (r *recharge) stroke(s *air.StrokeAir, p1, p2 station.Absolute) {
	r.Strokes++
	r.Plain += s.Plain * 1e-3
	r.Swept += s.Plain * 1e-3 / s.Efficiency
	r.Ratio += air.Expansion(p1, p2)
}

// watchRecharge adds the slot that ended.
func (e *Engine) watchRecharge(end station.Instant) {
	r := &e.Recharge
	st := e.State.Current
	quiet := st == station.Holding || st == station.Stroking
	if e.Outlet.N == 0 || !quiet || e.Plate.Sensor == station.AtBranch || e.Plate.SweptBoost <= 0 || e.sharesTank() || e.passing() {
		r.stop()
		return
	}
	p := float64(e.outletAbs())
	r.OutSum += p
	r.OutN++
	if end.Sub(e.Act.LastWork) >= station.Second {
		copy(r.Late[:], r.Late[1:])
		r.Late[3] = p
		r.Stood += float64(slotLen) * 1e-9
		return
	}
	if r.Stood >= quietStood {
		e.endQuiet(end)
	}
	if r.Stood >= 2 {
		r.Stood = 0
	}
}

// endQuiet closes the round that ends with a long standing time, and begins the next.
func (e *Engine) endQuiet(end station.Instant) {
	r := &e.Recharge
	mark := (r.Late[0] + r.Late[1] + r.Late[2]) / 3
	if r.From != 0 && r.Strokes < leastStrokes && end.Sub(r.From) < quietAge/4 {
		r.Stood = 0 // too little to count: the round goes on
		return
	}
	if r.From != 0 && r.Strokes > 0 && r.Quiet {
		e.keepQuiet(mark, end)
	}
	r.From, r.Mark, r.Stood = end, mark, 0
	r.Strokes, r.Plain, r.Swept, r.Ratio, r.OutSum, r.OutN = 0, 0, 0, 0, 0, 0
	r.Falls, r.Fell = 0, 0
}

// fitQuiet fits the fall of a standing outlet before the window is dropped, since the piston
// begins to work.
func (e *Engine) fitQuiet(next station.State, at station.Instant) {
	r := &e.Recharge
	if !next.Working() || r.Stood < quietStood {
		return
	}
	rate, ok := r.Cooling.Add(e.Leak.T, e.Leak.P)
	if r.Quiet = ok; rate != 0 {
		r.Falls, r.Fell = r.Falls+rate*r.Stood, r.Fell+r.Stood
	}
}

// tank gives the tank's volume, m³: the plate's, or the one learned, 0 while unknown.
func (e *Engine) tank() float64 {
	if e.Plate.TankVolume > 0 {
		return e.Plate.TankVolume
	}
	return e.Recharge.TankRef
}

// keepQuiet adds a round to the ring and looks at all of them.
func (e *Engine) keepQuiet(mark float64, end station.Instant) {
	r := &e.Recharge
	p0 := float64(air.P0ANR)
	seconds := float64(end.Sub(r.From)) * 1e-9
	q := quietRound{At: end, Strokes: r.Strokes, Plain: r.Plain, Swept: r.Swept, Ratio: r.Ratio / r.Strokes}
	q.Rise, q.Lost = (mark-r.Mark)/p0, seconds*r.OutSum/r.OutN/p0
	if r.Fell > 0 {
		q.Rate = r.Falls / r.Fell
	}
	if tank := e.tank(); tank > 0 {
		q.Lost *= 1 + air.CreepVolume(&e.Plate, e.inletAbs(), e.outletAbs())/tank
	}
	last := &r.Ring[mostQuiet-1]
	q.Chained = r.Kept > 0 && last.At == r.From
	copy(r.Ring[:], r.Ring[1:])
	r.Ring[mostQuiet-1] = q
	r.Kept = min(r.Kept+1, mostQuiet)
	for r.Kept > 0 && end.Sub(r.Ring[mostQuiet-r.Kept].At) > quietAge {
		r.Kept--
	}
	e.judgeQuiet(end)
}
