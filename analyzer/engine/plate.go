package engine

import (
	"strokewise/analyzer/sensors"
	"strokewise/analyzer/station"
)

// weighSensors hands the slot's samples to what weighs sensors, counter and plate against each other.
func (e *Engine) weighSensors(start, end station.Instant) {
	of := func(c station.Channel) sensors.Series {
		q := &e.Queues[c]
		n := q.until(end)
		return sensors.Series{T: q.T[:n], V: q.V[:n]}
	}
	if t := &e.Est[station.TankVolume]; t.Known() {
		e.Sensors.Quiet = sensors.Quiet{Value: t.Value, Low: t.Low, High: t.High}
	}
	noise := [2]float64{e.Ends.In.Noise(), e.Ends.Out.Noise()}
	e.Sensors.Slot(of(station.InletPressure), of(station.OutletPressure), of(station.Cycles), end, float64(end.Sub(start))*1e-9, noise, &e.Plate)
}

// judgePlate begins to weigh anew where plate data that can be wrong are changed to p: what was told of the old ones says
// nothing of these.
func (e *Engine) judgePlate(p *station.Plate) {
	was := &e.Plate
	if p.Set != was.Set || p.TankVolume != was.TankVolume || p.Counts != was.Counts || p.AreaRatio != was.AreaRatio ||
		p.SweptBoost != was.SweptBoost || p.StrokeLen != was.StrokeLen || p.Sensor != was.Sensor || p.Ambient != was.Ambient {
		e.Sensors = sensors.Watch{}
		e.Recharge.Kept = 0 // their air is that of the old plate
		e.Est[station.TankVolume] = station.Unknown(noQuiet)
	}
}
