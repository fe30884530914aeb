package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	fastBlock = 8    // cycles of which the second fastest counts: one may be wrongly split
	fastRise  = 1.01 // by which the fastest time is forgotten a block
	recentAir = 1.0 / 200
)

// strokeAir follows what the air of strokes depends on beyond the pressures, and what they
// cost. Fields are exported for snapshots only.
type strokeAir struct {
	Last    station.Instant // end of the stroke before
	Fastest float64         // s that a stroke takes in all but the fastest cycles, at the usual load
	Took    float64         // s that the last stroke took, 0: not known
	Mean    float64         // s, of that and of the stroke before
	Before  float64         // s at the usual load that the stroke before took, 0: it stood
	Low     [2]float64      // s, fastest two cycles of the present block, halved
	Cycles  int             // of the present block
	Known   air.Learned
	// Means over the last two hundred strokes or so, litres ANR: delivered and exhausted,
	// and the half-widths of their bands.
	Boost, Drive, BoostBand, DriveBand, N float64
}

// pace gives how fast the stroke that ended at a time was, and learns the fastest ones, unless air
// also passes straight through the check valves: then the traces tell strokes badly.
func (a *strokeAir) pace(at station.Instant, ease float64, passing bool) air.Pace {
	took := float64(at.Sub(a.Last)) * 1e-9
	first := a.Last == 0
	a.Last = at
	if first || took <= 0 {
		return air.Pace{Fastest: a.Fastest}
	}
	easy, even := took*ease, took
	if took > 10 || passing { // the piston stood, or air passes it
		easy = 0
	} else if a.Before > 0 {
		both := (easy + a.Before) / 2 // the two strokes of a cycle are not told apart equally well
		a.cycle(both)
		even = both / ease
	}
	a.Before = easy
	return air.Pace{Took: took, Mean: even, Fastest: a.Fastest}
}

// cycle learns from the mean time of two strokes.
func (a *strokeAir) cycle(s float64) {
	switch {
	case a.Cycles == 0:
		a.Low = [2]float64{s, math.Inf(1)}
	case s < a.Low[0]:
		a.Low = [2]float64{s, a.Low[0]}
	case s < a.Low[1]:
		a.Low[1] = s
	}
	if a.Cycles++; a.Cycles < fastBlock {
		return
	}
	a.Cycles = 0
	if a.Fastest *= fastRise; a.Fastest == 0 || a.Low[1] < a.Fastest {
		a.Fastest = a.Low[1]
	}
}

// stopAir drops what is being measured where the samples break off.
func (e *Engine) stopAir() {
	e.Air.Last, e.Air.Before = 0, 0
	e.Recharge.stop()
	e.Meter.Now, e.Meter.Gaps = meterSums{}, false
}

// airOf gives the air of a stroke that ended at a time.
func (e *Engine) airOf(at station.Instant) (air.StrokeAir, string) {
	p1, p2 := e.inletAbs(), e.outletAbs()
	pace := e.Air.pace(at, air.Ease(&e.Plate, p1, p2), e.passing())
	e.Air.Took, e.Air.Mean = pace.Took, pace.Mean
	s, reason := e.Air.Known.PerStroke(&e.Plate, p1, p2, pace)
	if reason == "" {
		e.Recharge.stroke(&s, p1, p2) // it weighs strokes against the same tank: the temperature cancels
		e.cost(&s, at)
		s = s.At(e.airTemperature(), e.metered())
		e.Meter.stroke(&s, p1, p2, pace.Took)
	}
	return s, reason
}

// metered reports whether a flow meter has taught the inlet air of the present strokes.
// band returns the half-width of the 90 % band of what strokes draw in, share of it.
func (a *strokeAir) band() float64 {
	if a.Boost+a.Drive <= 0 {
		return 0
	}
	return math.Hypot(a.BoostBand, a.DriveBand) / (a.Boost + a.Drive)
}

func (e *Engine) metered() bool { return e.Air.Known.Metered && !e.Air.Known.Away }

// cost follows how much air is drawn in for each litre delivered.
func (e *Engine) cost(s *air.StrokeAir, at station.Instant) {
	a := &e.Air
	a.N = min(a.N+1, 1/recentAir)
	mean := func(m *float64, x float64) { *m += (x - *m) / a.N }
	mean(&a.Boost, s.Boost.Value)
	mean(&a.Drive, s.Drive.Value)
	mean(&a.BoostBand, (s.Boost.High-s.Boost.Low)/2)
	mean(&a.DriveBand, (s.Drive.High-s.Drive.Low)/2)
	if a.N < 10 || a.Boost <= 0 || a.Drive <= 0 {
		return
	}
	r := a.Drive / a.Boost
	half := r * math.Hypot(a.BoostBand/a.Boost, a.DriveBand/a.Drive)
	m, conf := station.MethodPlate, 0.5
	switch {
	case e.metered():
		m, conf = station.MethodMeter, 0.9
	case a.Known.Eta > 0:
		m, conf = station.MethodRecharge, 0.6
	}
	e.Est[station.InletOverDelivered] = station.Estimate{Value: 1 + r, Low: 1 + max(0, r-half), High: 1 + r + half, Method: m, Confidence: conf, At: at}
}
