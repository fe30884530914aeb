package engine

import (
	"math"
	"slices"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	openBelow    = 0.97               // share of set below which a governor is taken to be open (no source)
	openAbove    = 0.6                // share of set above which strokes are compared (own choice: below it a fill is under way)
	paceStrokes  = 6                  // of a reading (own choice: both sides three times)
	paceEvery    = 5 * station.Second // between readings (own choice)
	leastPaces   = 3                  // readings before the first use (own choice: the least with a median)
	neverOpen    = "the piston has not been seen to stroke with the governor open yet: the outlet never fell below 97 % of set for long"
	capacityBand = 0.2 // half-width of the 90 % band of the free capacity, share of it (own choice, no source)
)

// pace follows how long strokes take while the governor is open, in units of air.OpenStroke:
// what tells the highest stroke rate, and whether strokes become slower. Fields are exported
// for snapshots only.
type pace struct {
	Begin station.Instant // end of the stroke that the present reading began with, 0: none
	N     int             // strokes since
	Sum   float64         // of OpenStroke by slot
	Slots int
	Base  baseline
	Out   float64 // mean outlet over half a minute, Pa gauge
}

// watchPace handles the slot that ended.
func (e *Engine) watchPace(end station.Instant) {
	p := &e.Speed
	if e.Outlet.N > 0 {
		if p.Out == 0 {
			p.Out = e.Outlet.Mean
		}
		p.Out += (e.Outlet.Mean - p.Out) * float64(slotLen) / float64(dynamicOver)
	}
	g := e.openStroke(end)
	if math.IsInf(g, 1) {
		p.Begin = 0
		return
	}
	p.Sum, p.Slots = p.Sum+g, p.Slots+1
	if e.Act.Strokes == 0 {
		return
	}
	if p.N += e.Act.Strokes; p.Begin != 0 && p.N < paceStrokes {
		return
	}
	if took := float64(e.Fuse.LastAt.Sub(p.Begin)) * 1e-9; p.Begin != 0 && took > 0 {
		p.Base.put(took/float64(p.N)/(p.Sum/float64(p.Slots)), end, paceEvery)
	}
	p.Begin, p.N, p.Sum, p.Slots = e.Fuse.LastAt, 0, 0, 0
}

// openStroke gives the relative time of the present strokes, infinite where the governor may
// throttle or the strokes cannot be compared.
func (e *Engine) openStroke(end station.Instant) float64 {
	set, p2 := e.set(), e.Outlet.Mean
	if e.Inlet.N == 0 || e.Outlet.N == 0 || e.State.ShutdownAt != 0 || !e.State.Current.Working() || !e.worked(end) ||
		p2 > openBelow*set || p2 < openAbove*set || p2 < 1.1*e.Inlet.Mean || e.Plate.AreaRatio <= 0 {
		return math.Inf(1)
	}
	return air.OpenStroke(&e.Plate, e.inletAbs(), e.outletAbs())
}

// unit gives how long, s, a stroke takes in units of air.OpenStroke: the last block's median
// or, before there is one, that of what there is; 0 while unknown.
func (p *pace) unit() float64 {
	if p.Base.Blocks > 0 {
		return p.Base.Recent
	}
	if p.Base.N < leastPaces {
		return 0
	}
	ring := p.Base.Ring
	slices.Sort(ring[:p.Base.N])
	return ring[p.Base.N/2]
}

// highest gives the highest stroke rate, 1/s, at an inlet and outlet, 0 where the forces do
// not suffice.
func (e *Engine) highest(p1, p2 station.Absolute) float64 {
	if u := e.Speed.unit(); u > 0 {
		return 1 / (u * air.OpenStroke(&e.Plate, p1, p2))
	}
	return e.Plate.MaxRate
}

// loadFigures sets load, highest rate and free capacity.
func (e *Engine) loadFigures(end station.Instant) {
	load, most, free := &e.Est[station.Load], &e.Est[station.HighestRate], &e.Est[station.FreeCapacity]
	why := ""
	rate := e.rateNow(end, e.Rate.sum(end.Add(-1)))
	switch {
	case e.State.ShutdownAt != 0:
		why = "the supply is closed"
	case !rate.Known():
		why = rate.Reason
	case e.Speed.unit() == 0 && e.Plate.MaxRate <= 0:
		why = neverOpen
		if e.Plate.AreaRatio <= 0 {
			why = "needs the bores, or the highest stroke rate"
		}
	case e.Reach.Dynamic <= 0:
		why = "the piston has not worked yet"
	}
	amb := e.Plate.AmbientPressure()
	p1, p2 := station.Gauge(e.Reach.Dynamic).Absolute(amb), station.Gauge(e.Speed.Out).Absolute(amb)
	n := 0.0
	if why == "" {
		if n = e.highest(p1, p2); n <= 0 {
			why = "the outlet stands at what this inlet can reach at most"
		}
	}
	if why != "" {
		*load = station.Unknown(why)
		*most, *free = *load, *load
		return
	}
	e.Basis.Load = loadBasis{P1: float64(p1), P2: float64(p2), Rate: rate.Value, Unit: e.Speed.unit()}
	g := station.Estimate{Value: n, Low: 0.85 * n, High: 1.15 * n, Method: station.MethodTraces, Confidence: 0.7, At: end}
	if e.Speed.unit() == 0 {
		g.Method, g.Confidence = station.MethodPlate, 0.4
	}
	*most = g
	*load = station.Estimate{Value: rate.Value / n, Low: rate.Value / g.High, High: rate.Value / g.Low, Method: g.Method, Confidence: g.Confidence, From: end.Add(-station.Minute60), At: end}
	*free = e.freeCapacity(rate.Value, p1, p2, &g)
}

// freeCapacity gives how much more could be delivered with the outlet at what the branch
// needs (5 % below set where that is not given). More flow sags the inlet more: the inlet is
// the one at which the line passes what the highest stroke rate draws there.
func (e *Engine) freeCapacity(rate float64, p1, p2 station.Absolute, like *station.Estimate) station.Estimate {
	static, c := &e.Est[station.HeaderStatic], &e.Est[station.SupplyConductance]
	now, reason := air.PerStroke(&e.Plate, p1, p2)
	switch {
	case reason != "":
		return station.Unknown(reason)
	case !static.Known():
		return station.Unknown(static.Reason)
	case !c.Known():
		return station.Unknown(c.Reason)
	}
	amb := e.Plate.AmbientPressure()
	need := station.Gauge(setBand * e.set())
	if e.Plate.Required > 0 {
		need = e.Plate.Required
	}
	most := e.mostDelivered(station.Gauge(static.Value).Absolute(amb), need.Absolute(amb), c.Value*math.Sqrt(1-assumedB))
	has := rate * now.Boost.Value * 1e-3 * e.airTemperature().Density()
	b := &e.Basis.Load
	b.Up, b.Need, b.Most, b.Has = float64(station.Gauge(static.Value).Absolute(amb)), float64(need.Absolute(amb)), most, has
	more := func(k float64) float64 { return max(0, k*most-has) }
	return station.Estimate{Value: more(1), Low: more(1 - capacityBand), High: more(1 + capacityBand), Method: like.Method,
		Confidence: min(like.Confidence, c.Confidence), From: like.From, At: like.At}
}

// mostDelivered gives the highest flow, m³/s ANR, that can be delivered at outlet p2 from a
// header at ph through a line of sonic conductance c.
func (e *Engine) mostDelivered(ph, p2 station.Absolute, c float64) float64 {
	line, t := air.Conductance{C: c, B: assumedB}, e.airTemperature()
	low, high, most := e.Plate.AmbientPressure(), ph, 0.0
	for range 14 { // to 50 Pa
		p1 := (low + high) / 2
		a, _ := air.PerStroke(&e.Plate, p1, p2)
		a = a.At(t, false)
		n := e.highest(p1, p2)
		if n*a.Inlet.Value*1e-3 > line.Flow(ph, p1, t.K) {
			high = p1
			continue
		}
		low, most = p1, n*a.Boost.Value*1e-3
	}
	return most
}

// slowStrokes sets by how much longer strokes take than usual at equal pressures.
func (e *Engine) slowStrokes(end station.Instant) {
	if x, ok := e.Speed.Base.change(); ok {
		e.Est[station.StrokeTimeChange] = station.Estimate{Value: x, Method: station.MethodTrend, Confidence: 0.6, At: end}
	}
}
