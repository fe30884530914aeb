package rules

import (
	"math"
	"time"

	"strokewise/analyzer/station"
)

// values are the quantities at one step; NaN: unknown.
type values [numQuantities]float64

var nan = math.NaN()

// fill handles the quantities of one step. A state is unknown while the station is blind.
func (v *Evaluator) fill(s *station.Status) {
	q, p, e := &v.now, v.plate, &s.Estimates
	q[qInlet], q[qOutlet] = value(&s.Inlet), value(&s.Outlet)
	q[qLastSeen] = float64(s.OutletLastSeen)
	q[qStrokeRate], q[qStrokesMinute] = value(&s.StrokeRate), nan
	if s.StrokeRate.Known() {
		q[qStrokesMinute] = float64(s.StrokesMinute)
	}
	q[qStateSeconds], q[qShutSeconds] = nan, nan
	if since := v.Stay.step(s); s.Since != 0 && s.State != station.Blind {
		q[qStateSeconds] = float64(s.At.Sub(since)) * 1e-9
	}
	if v.shut.at != 0 {
		q[qShutSeconds] = float64(s.At.Sub(v.shut.at)) * 1e-9
	}
	q[qSag], q[qSagConfidence] = value(&e[station.SupplySag]), confidence(&e[station.SupplySag])
	q[qLeak], q[qLeakConfidence] = value(&e[station.LeakFlow]), confidence(&e[station.LeakFlow])
	q[qConductance], q[qVolumetric] = value(&e[station.SupplyConductance]), value(&e[station.VolumetricEfficiency])
	q[qStarts] = value(&e[station.StartsShort])
	q[qUneven], q[qPulsation] = value(&e[station.StrokeUnevenness]), value(&e[station.Pulsation])
	q[qSet], q[qEnergy] = value(&e[station.SetPressure]), value(&e[station.StoredEnergy])
	for f, i := range figureQuantity {
		if i != 0 {
			q[i], q[i+1] = value(&e[f]), confidence(&e[f])
		}
	}
	v.Past.fill(s, q, p.Relief > 0)
	v.Reached.step(s, q[qSet])
	q[qReached], q[qNearSet] = truth(v.Reached.Set), truth(nearSet(q[qOutlet], q[qSet], value(&e[station.ReachablePressure])))
	v.fillPlate()
	v.LeakUse.step(s, q[qLeak], q[qLeakLimit])
	q[qLeakUse] = truth(v.LeakUse.covers())
	v.fillTooHigh(s)
	v.fillCosts(e)
	v.fillDates(s.At)
	q[qContradicted] = truth(s.Contradiction.N > 0)
	fillState(s, q)
	v.fillHeader(s)
	fillSupply(s, q, p)
	v.followHours(s)
	if p.Required <= 0 && !v.Reached.Ever {
		q[qLeast] = nan
	}
	if v.shut.by == ByCalendar {
		q[qShut] = 1
	}
}

// fillPlate takes what the plate says; what it does not say is unknown.
func (v *Evaluator) fillPlate() {
	q, p := &v.now, v.plate
	q[qSagLimit], q[qLeakLimit], q[qChargedMin] = SagLimit, LeakLimit, ChargedMin
	if p.SagLimit > 0 {
		q[qSagLimit] = p.SagLimit
	}
	if p.LeakLimit > 0 {
		q[qLeakLimit] = p.LeakLimit
	}
	q[qRelief], q[qTankPS], q[qHose] = given(float64(p.Relief)), given(float64(p.TankPS)), given(float64(p.HoseLimit))
	if q[qReliefLimit] = q[qRelief]; p.Relief <= 0 {
		q[qReliefLimit] = math.Inf(1)
	}
	q[qPressureLimit], _ = pressureLimit(p)
	q[qRequired], q[qRatio] = given(float64(p.Required)), given(p.AreaRatio)
	q[qStall] = float64(p.Stall(station.Gauge(q[qInletTop])))
}

func fillState(s *station.Status, q *values) {
	for i := qOff; i <= qResidual; i++ {
		q[i] = truth(s.State == station.Off+station.State(i-qOff))
		if s.State == station.Blind {
			q[i] = nan
		}
	}
	q[qPuff] = truth(s.State == station.Venting && s.Inlet.Known() && s.Outlet.Known() && s.Inlet.Value < s.Outlet.Value)
	q[qBlind], q[qFed], q[qShut] = truth(s.State == station.Blind), truth(s.State.Fed()), truth(s.ShutdownAt != 0)
	q[qFrozen], q[qImplausible] = 0, 0
	if s.State != station.Blind {
		return
	}
	q[qFed] = nan
	if s.ShutdownAt == 0 {
		q[qShut] = nan
	}
	q[qFrozen], q[qImplausible] = doubted(s.StateReason.Doubt())
}

// doubted returns what a blind station's doubt is. A missing reading neither raises nor
// clears one: silence proves nothing.
func doubted(d station.Doubt) (frozen, implausible float64) {
	switch d {
	case station.DoubtFrozen:
		return 1, 0
	case station.DoubtReadings:
		return 0, 1
	}
	return nan, nan
}

func value(e *station.Estimate) float64 {
	if !e.Known() {
		return nan
	}
	return e.Value
}

func confidence(e *station.Estimate) float64 {
	if !e.Known() {
		return nan
	}
	return e.Confidence
}

func given(x float64) float64 {
	if x <= 0 {
		return nan
	}
	return x
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// date is a date of the plate, parsed once; at is zero where it is none.
type date struct {
	text string
	at   station.Instant
}

func dateOf(text string) date {
	d := date{text: text}
	if t, err := time.Parse("2006-01-02", text); err == nil {
		d.at = station.InstantOf(t)
	}
	return d
}
