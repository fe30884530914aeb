package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	warmthOver = 60 * station.Minute60 // time constant of the mean of tank_temperature: the air drawn in does not follow a recharge (own choice)
	warmthHold = 60 * station.Minute60 // without readings after which the plate's temperature counts again (own choice)
	// warmthLow and warmthHigh bound readings that are taken, K: -40 and 80 °C (common practice, no source).
	warmthLow, warmthHigh = 233.15, 353.15
)

// warmth follows the channel tank_temperature. Fields are exported for snapshots only.
type warmth struct {
	Last float64 // K, newest reading
	Mean float64 // K, 0: none yet
	At   station.Instant
}

// readTemperature reads the newest reading of a slot, K.
func (w *warmth) readTemperature(v float64, at station.Instant) {
	if !(v >= warmthLow && v <= warmthHigh) {
		return
	}
	if w.Mean == 0 || at.Sub(w.At) > warmthHold {
		w.Mean = v
	}
	w.Last, w.At = v, at
}

// follow brings the mean up to the end of a slot.
func (w *warmth) follow(end station.Instant) {
	if w.Mean != 0 && end.Sub(w.At) <= warmthHold {
		w.Mean += (w.Last - w.Mean) * float64(slotLen) / float64(warmthOver)
	}
}

// airTemperature returns the temperature of the air drawn in: read at the tank within the hour,
// else the plate's, else any that a plant may have.
func (e *Engine) airTemperature() air.Temperature {
	switch w := &e.Warmth; {
	case w.Mean != 0 && e.Slot.Sub(w.At) <= warmthHold:
		return air.About(w.Mean, air.ReadBand)
	case e.Plate.AirTemperature > 0:
		return air.About(e.Plate.AirTemperature, air.GivenBand)
	}
	return air.UnknownTemperature()
}

// temperatureInputs returns the temperature T of the air, where it comes from, and what it does.
func (e *Engine) temperatureInputs() []station.Input {
	const name = "temperature of the air"
	t := e.airTemperature()
	in := assumed(name, t.K-273.15, "°C", "not given: that of ANR, the band holds -10 to 40 °C")
	switch w := &e.Warmth; {
	case w.Mean != 0 && e.Slot.Sub(w.At) <= warmthHold:
		in = measured(name, t.K-273.15, "°C")
		in.Source = "mean of tank_temperature over an hour"
	case e.Plate.AirTemperature > 0:
		in = station.Value(name, t.K-273.15, "°C", station.FromPlate)
	}
	return []station.Input{in, computed("T_0/T, T_0 = 20 °C", t.Density(), "")}
}
