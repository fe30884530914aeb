package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/signal"
	"strokewise/analyzer/station"
)

const (
	sagLimit    = 0.10  // of the plate, else this (common practice, no source)
	leastSag    = 0.004 // below it the inlet's fall drowns in the sensor's
	usualSag    = 0.005 // below it the conductance is too rough to be compared (hops of a governor)
	supplyEvery = 20 * station.Second
	hardlySags  = "the inlet hardly sags while the piston works: too little to measure the line by, and wide enough"
	lineAlone   = "a filter, a valve or a hose is at fault: the line alone would pass more"
)

// line follows the conductance of the supply line: against its usual value and over days.
// Fields are exported for snapshots only.
type line struct {
	Base  baseline
	Daily daily
}

// estimateLine says what line would do, and what the present one should pass by its bore and
// length, at the flow of the runs.
func (e *Engine) estimateLine(at station.Instant) {
	c := &e.Est[station.SupplyConductance]
	needed, bore, pipe := &e.Est[station.ConductanceNeeded], &e.Est[station.BoreNeeded], &e.Est[station.PipeConductance]
	if !c.Known() {
		*needed = station.Unknown(c.Reason)
		*bore, *pipe = *needed, *needed
		return
	}
	if e.Est[station.SupplySag].Value >= usualSag {
		e.lineUsual(c.Value, at)
	}
	amb := float64(e.Plate.AmbientPressure())
	static := e.Supply.Static
	sag, room := e.lineSags()
	up, now, least := static+amb, static*(1-sag)+amb, static*(1-room)+amb
	e.Basis.Line = lineBasis{Up: up, Now: now, Least: least}
	switch {
	case sag < leastSag:
		*needed = station.Unknown(hardlySags)
		*bore, *pipe = *needed, *needed
		return
	case room <= 0:
		*needed = station.Unknown("the header alone falls by more than the sag limit: no line would do")
	default:
		more := e.moreFlow(station.Absolute(now), station.Absolute(least))
		e.Basis.Line.More = more
		k := more * air.FlowFactor(now/up, assumedB) / air.FlowFactor(least/up, assumedB)
		*needed = station.Estimate{Value: k * c.Value, Low: k * c.Low, High: k * c.High, Method: station.MethodTraces, Confidence: c.Confidence, At: at}
	}
	e.estimateBore(station.Absolute(up), station.Absolute(now), station.Absolute(least), at)
}

// moreFlow gives the factor by which the booster draws more at an inlet of least than at now:
// at the higher pressure it strokes faster, and each stroke takes more. 1 where the geometry
// is not known or the present inlet is at the limit of the forces.
func (e *Engine) moreFlow(now, least station.Absolute) float64 {
	p2 := station.Gauge(e.Speed.Out).Absolute(e.Plate.AmbientPressure())
	a, b := air.OpenStroke(&e.Plate, now, p2), air.OpenStroke(&e.Plate, least, p2)
	before, reason := air.PerStroke(&e.Plate, now, p2)
	after, _ := air.PerStroke(&e.Plate, least, p2)
	if reason != "" || math.IsInf(a, 1) || math.IsInf(b, 1) || before.Inlet.Value <= 0 {
		return 1
	}
	return a / b * after.Inlet.Value / before.Inlet.Value
}

// lineSags gives the line's sag and the sag that it may have for the whole to keep the limit.
func (e *Engine) lineSags() (sag, room float64) {
	sag, room = e.Est[station.SupplySag].Value, sagLimit
	if e.Plate.SagLimit > 0 {
		room = e.Plate.SagLimit
	}
	if l, h := &e.Est[station.LineSag], &e.Est[station.HeaderSag]; l.Known() && h.Known() {
		return l.Value, room - max(0, h.Value)
	}
	return sag, room
}

// estimateBore compares the line with a pipe of its bore and length (smooth, without
// fittings) and gives the bore that would do, where the pipe is what holds the air back.
func (e *Engine) estimateBore(up, now, least station.Absolute, at station.Instant) {
	needed, bore, pipe := &e.Est[station.ConductanceNeeded], &e.Est[station.BoreNeeded], &e.Est[station.PipeConductance]
	p := air.Pipe{Bore: e.Plate.SupplyBore, Length: e.Plate.SupplyLength, Roughness: air.DrawnRoughness}
	if p.Bore <= 0 || p.Length <= 0 {
		*bore = station.Unknown("needs bore and length of the supply line")
		*pipe = *bore
		return
	}
	root := math.Sqrt(1 - assumedB)
	t := e.airTemperature()
	v := p.Conductance(up, now, t.K, assumedB) / root
	*pipe = station.Estimate{Value: v, Low: 0.8 * v, High: v, Method: station.MethodPlate, Confidence: 0.6, At: at}
	c := &e.Est[station.SupplyConductance]
	switch {
	case c.High < v:
		*bore = station.Unknown(lineAlone)
	case c.Low > v:
		*bore = station.Unknown("the line passes more than its bore and length allow: are they right?")
	case !needed.Known():
		*bore = station.Unknown(needed.Reason)
	default:
		d := func(c float64) float64 {
			return p.BoreFor(c*root*float64(up)*t.Root()*air.FlowFactor(float64(least/up), assumedB), up, least, t.K)
		}
		*bore = station.Estimate{Value: d(needed.Value), Low: d(needed.Low), High: d(needed.High), Method: station.MethodPlate, Confidence: 0.8 * c.Confidence, At: at}
	}
}

// lineUsual follows the conductance against its usual value and from day to day.
func (e *Engine) lineUsual(c float64, at station.Instant) {
	l := &e.Line
	if l.Base.put(c, at, supplyEvery) {
		if l.Daily.put(l.Base.Recent, at) {
			e.Est[station.SupplyTrend] = l.Daily.trend(at)
		}
	}
	if x, ok := l.Base.change(); ok {
		e.Est[station.SupplyChange] = station.Estimate{Value: x, Method: station.MethodTrend, Confidence: 0.6, At: at}
	}
}

const (
	keptDays  = 16
	leastDays = 5
)

// daily keeps a figure's means of the last days on which it was known. Fields are exported
// for snapshots only.
type daily struct {
	Day  [keptDays]int32 // since 1970
	Mean [keptDays]float64
	N    int // full days
	Now  int32
	Sum  float64
	Cnt  int
}

// put handles a value and tells whether a day was closed by it.
func (d *daily) put(x float64, at station.Instant) bool {
	day := int32(int64(at) / (24 * 60 * station.Minute60))
	closed := false
	if day != d.Now && d.Cnt > 0 {
		if d.N == keptDays {
			copy(d.Day[:], d.Day[1:])
			copy(d.Mean[:], d.Mean[1:])
			d.N--
		}
		d.Day[d.N], d.Mean[d.N] = d.Now, d.Sum/float64(d.Cnt)
		d.N++
		d.Sum, d.Cnt, closed = 0, 0, true
	}
	d.Now, d.Sum, d.Cnt = day, d.Sum+x, d.Cnt+1
	return closed
}

// trend gives the robust slope of the daily means, units of the figure a second, with the
// band of a straight line's slope at 90 %.
func (d *daily) trend(at station.Instant) station.Estimate {
	if d.N < leastDays {
		return station.Unknown("fewer than five days of work to compare")
	}
	var t [keptDays]float64
	const day = 86400.0
	for i := range d.N {
		t[i] = float64(d.Day[i]-d.Day[0]) * day
	}
	sen, ok := signal.TheilSen(t[:d.N], d.Mean[:d.N])
	straight, fits := signal.Line(t[:d.N], d.Mean[:d.N])
	if !ok || !fits {
		return station.Unknown("fewer than five days of work to compare")
	}
	half := student90(d.N-2) * straight.SlopeErr
	return station.Estimate{Value: sen.Slope, Low: sen.Slope - half, High: sen.Slope + half, Method: station.MethodTrend,
		Confidence: 0.4 + 0.03*float64(d.N), From: station.Instant(int64(d.Day[0]) * 24 * 60 * station.Minute60), At: at}
}

// student90 gives the 95 % quantile of Student's t (from memory) for 3 or more degrees of
// freedom, by the first terms of its expansion about the normal one.
func student90(n int) float64 {
	const z = 1.6449
	k := float64(n)
	return z + (z*z*z+z)/(4*k) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*k*k)
}
