package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// rateWindow counts strokes in one-second bins over the last minute. Fields are
// exported for snapshots only.
type rateWindow struct {
	Bins [60]uint8
	At   int64 // second of the newest bin
}

func (r *rateWindow) advance(sec int64) {
	if sec <= r.At {
		return
	}
	for s := max(r.At+1, sec-59); s <= sec; s++ {
		r.Bins[((s%60)+60)%60] = 0
	}
	r.At = sec
}

func (r *rateWindow) add(t station.Instant) {
	sec := int64(t) / station.Second
	r.advance(sec)
	if r.At-sec < 60 {
		if b := &r.Bins[((sec%60)+60)%60]; *b < 255 {
			*b++
		}
	}
}

func (r *rateWindow) sum(t station.Instant) int64 {
	r.advance(int64(t) / station.Second)
	n := int64(0)
	for _, b := range r.Bins {
		n += int64(b)
	}
	return n
}

// within returns the strokes of the last seconds, at most 60.
func (r *rateWindow) within(t station.Instant, seconds int64) int64 {
	sec := int64(t) / station.Second
	r.advance(sec)
	n := int64(0)
	for s := sec - seconds + 1; s <= sec; s++ {
		n += int64(r.Bins[((s%60)+60)%60])
	}
	return n
}

// step tells the observer how the station stands at end.
func (e *Engine) step(end station.Instant) {
	s := e.status
	if s.At != 0 && (s.HourOf() != station.HourOf(end) || s.Segment != e.Segment) {
		e.obs.Hour(s)
	}
	s.At, s.Segment = end, e.Segment
	s.State, s.Since, s.StateReason = e.State.Current, e.State.From, e.State.Reason
	s.Inlet = e.believed(e.pressureNow(&e.Inlet, end, e.blindAfter(&e.Ends.In)), inletDoubted)
	s.Outlet = e.believed(e.pressureNow(&e.Outlet, end, e.blindAfter(&e.Ends.Out)), outletDoubted)
	s.OutletLastSeen = station.Gauge(math.NaN())
	if e.State.HadOutlet {
		s.OutletLastSeen = station.Gauge(e.State.LastOutlet)
	}
	s.InletReads, s.OutletReads = e.reads(&e.Inlet, end, e.blindAfter(&e.Ends.In)), e.reads(&e.Outlet, end, e.blindAfter(&e.Ends.Out))
	s.InletPeak, s.OutletPeak = e.Inlet.peak(s.InletReads), e.Outlet.peak(s.OutletReads)
	s.Strokes, s.Valve = e.Struck, e.Valve.state()
	s.StrokesMinute = e.Rate.sum(end.Add(-1))
	s.StrokeRate = e.rateNow(end, s.StrokesMinute)
	s.ShutdownAt, s.ShutdownBy = e.State.ShutdownAt, e.State.ShutdownBy
	s.LeakPlace = e.leakPlace(end)
	s.Contradiction = *e.Sensors.Told()
	e.storedEnergy(end)
	e.leaveShared()
	s.Estimates = e.Est
	e.obs.Step(s)
}

func (e *Engine) pressureNow(l *level, end station.Instant, limit int64) station.Estimate {
	if !l.Seen {
		return station.Unknown("no reading yet")
	}
	if end.Sub(l.Last) > limit {
		return station.Unknown("no reading since " + l.Last.Floor(station.Second).String())
	}
	return station.Estimate{Value: l.Mean, Method: station.MethodTraces, Confidence: 1, At: l.Last}
}

// reads returns what a sensor reads, believed or not.
func (e *Engine) reads(l *level, end station.Instant, limit int64) station.Gauge {
	if !l.Seen || end.Sub(l.Last) > limit {
		return station.Gauge(math.NaN())
	}
	return station.Gauge(l.Mean)
}

// state returns what the signal says.
func (v *valve) state() station.ValveState {
	switch {
	case !v.Known:
		return station.ValveUnknown
	case v.Open:
		return station.ValveOpen
	}
	return station.ValveClosed
}

// rateNow gives strokes a second over the last minute.
func (e *Engine) rateNow(end station.Instant, n int64) station.Estimate {
	m := station.MethodTraces
	switch {
	case e.Fuse.CounterServes():
		m = station.MethodCounter
		if e.tracesServe() {
			m = station.MethodBoth
		}
	case e.tracesTell() != "":
		return station.Unknown(e.tracesTell())
	}
	if e.State.Current == station.Blind {
		return station.Unknown(e.whyBlind())
	}
	seconds := min(60, max(1, float64(end.Sub(e.First))*1e-9))
	sure := 0.9
	if m == station.MethodTraces {
		sure *= e.timing()
	}
	return station.Estimate{Value: float64(n) / seconds, Method: m, Confidence: sure, At: end}
}

// blindText is the newest reason for being blind, put in words once.
type blindText struct {
	of   station.StateReason
	in   station.Reading
	text string
}

// whyBlind returns in words why nothing is told while the station is blind.
func (e *Engine) whyBlind() string {
	if b, in := &e.blind, e.Plate.Reading; b.text == "" || b.of != e.State.Reason || b.in != in {
		b.of, b.in, b.text = e.State.Reason, in, "blind: "+e.State.Reason.In(in)
	}
	return e.blind.text
}

func (e *Engine) storedEnergy(end station.Instant) {
	switch {
	case e.Plate.TankVolume <= 0:
		e.Est[station.StoredEnergy] = station.Unknown("needs the tank volume")
	case !e.State.HadOutlet && e.Outlet.Seen:
		e.Est[station.StoredEnergy] = station.Unknown("no outlet reading that is believed")
	case !e.State.HadOutlet:
		e.Est[station.StoredEnergy] = station.Unknown("no outlet reading yet")
	default:
		amb := e.Plate.AmbientPressure()
		v := air.StoredEnergy(station.Gauge(e.State.LastOutlet).Absolute(amb), amb, e.Plate.TankVolume)
		e.Est[station.StoredEnergy] = station.Estimate{Value: v, Method: station.MethodPlate, Confidence: 0.8, At: end}
	}
}

// firstReasons say why a figure is unknown until something is known of it.
var firstReasons = [station.NumFigures]string{
	station.LeakFlow:          "no quiet window and no steady draw yet",
	station.LeakConductance:   "no quiet window and no steady draw yet",
	station.LeakHole:          "no quiet window and no steady draw yet",
	station.LeakAtMost:        "needs five minutes in a row, fed, with known air",
	station.LeakOnset:         "needs leak figures of an hour",
	station.LeakTrend:         "needs six leak figures over two hours, since the onset where there is one",
	station.InletLeak:         "needs a valve that closes the supply for half a minute",
	station.InternalLeak:      "needs a quiet window and make-up strokes within 15 minutes of each other",
	station.SupplySag:         "the piston has not worked yet",
	station.SupplyConductance: "the piston has not worked yet",

	station.HeaderSag:           "no run between two rests of the inlet yet",
	station.LineSag:             "no run between two rests of the inlet yet",
	station.HeaderStatic:        neverStands,
	station.PipeConductance:     "the piston has not worked yet",
	station.SupplyChange:        "too few runs to compare yet",
	station.SupplyTrend:         "fewer than five days of work to compare",
	station.ConductanceNeeded:   "the piston has not worked yet",
	station.BoreNeeded:          "the piston has not worked yet",
	station.ReachablePressure:   "the piston has not worked yet",
	station.Load:                neverOpen,
	station.HighestRate:         neverOpen,
	station.FreeCapacity:        neverOpen,
	station.StartsHour:          "watched for less than a quarter of an hour",
	station.StartsShort:         "watched for less than ten minutes",
	station.StrokeTimeChange:    "too few strokes with the governor open to compare yet",
	station.CyclesSinceOverhaul: "needs the booster's serial number or the date of its overhaul",
	station.SetShift:            "too few runs to compare yet",

	station.StrokeUnevenness: "needs strokes whose times show, of both sides",
	station.Pulsation:        "the piston has not worked yet",
	station.SetPressure:      "no set pressure given or learned yet",
	station.ReliefPops:       "no outlet reading yet",
	station.PopPressure:      "the outlet does not fall from one pressure again and again while strokes go on",
	station.OutletDraw:       drawNot,
	station.DrawOverUsual:    drawNot,
	station.DrawFloor:        "needs ten minutes in a row in which the air that leaves the outlet is known",
	station.DrawFloorUsual:   "needs the steady draw of five minutes, each the least of ten",
	station.StoredEnergy:     "no outlet reading yet",

	station.InletZero:     "both sides were not seen vented and at rest yet",
	station.OutletZero:    "both sides were not seen vented and at rest yet",
	station.OutletOffset:  "no fed moment without strokes yet",
	station.InletNoise:    "no minute of samples yet",
	station.OutletNoise:   "no minute of samples yet",
	station.CountExcess:   "no counter yet",
	station.CountMismatch: "no 200 strokes yet that counter and traces both show well",

	station.VolumetricEfficiency: noQuiet,
	station.StrokeDelivery:       noQuiet,
	station.EfficiencyChange:     "too few quiet recharges to compare yet",
	station.TankVolume:           noQuiet,
	station.DeadVolume:           "needs quiet recharges at clearly different ratios of outlet to inlet pressure",
	station.MeterRatio:           "no flow meter was lent to the inlet yet",
	station.InletOverDelivered:   "no strokes yet whose air is known",
}

// resetEstimates sets every estimate to unknown with its first reason.
func (e *Engine) resetEstimates() {
	for f := range e.Est {
		if e.Est[f] = station.Unknown(firstReasons[f]); firstReasons[f] == "" {
			e.Est[f] = station.NotEstimated()
		}
	}
	if e.Plate.Set > 0 {
		e.Est[station.SetPressure] = station.Estimate{Value: float64(e.Plate.Set), Method: station.MethodPlate, Confidence: 1}
	}
}
