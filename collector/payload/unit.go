package payload

import "strokewise/analyzer/station"

// linear converts a number in a unit to SI: v*factor + offset.
type linear struct{ factor, offset float64 }

// temperatures are the units of a temperature: K and Cel of SenML (RFC 8428, 12.1), and what
// gateways write for the latter.
var temperatures = map[string]linear{
	"K": {1, 0}, "Cel": {1, 273.15}, "C": {1, 273.15}, "°C": {1, 273.15}, "degC": {1, 273.15},
}

// flows are the units of a flow at ANR: m3/s and l/s of SenML (RFC 8428, 12.1), and those of flow meters.
var flows = map[string]linear{
	"m3/s": {1, 0}, "m3/min": {1.0 / 60, 0}, "m3/h": {1.0 / 3600, 0},
	"l/s": {1e-3, 0}, "L/s": {1e-3, 0}, "l/min": {1e-3 / 60, 0}, "L/min": {1e-3 / 60, 0},
}

// hectopascal is the one pressure among the secondary units of SenML (RFC 8798, section 3): 100 Pa. The
// configuration has it by no name.
const hectopascal = "hPa"

// numbers are the units of counts and of 0 and 1 (RFC 8428, 12.1).
var numbers = map[string]linear{"count": {1, 0}, "/": {1, 0}}

// unitOf returns how a unit of the channel converts to SI. Beside those of SenML it knows the units of
// the configuration, which gateways write too.
func unitOf(c station.Channel, unit string) (linear, bool) {
	switch {
	case c.IsPressure() && unit == hectopascal:
		return linear{100, 0}, true
	case c.IsPressure():
		pa, ok := station.PressureUnit(unit)
		return linear{pa, 0}, ok
	}
	table := numbers
	switch c {
	case station.TankTemperature:
		table = temperatures
	case station.InletFlow:
		table = flows
	}
	l, ok := table[unit]
	return l, ok
}

// Units names the units that a channel's values may be in, for messages.
func Units(c station.Channel) string {
	switch {
	case c.IsPressure():
		return station.PressureUnits() + " and hPa"
	case c == station.TankTemperature:
		return "K, Cel, C"
	case c == station.InletFlow:
		return "m3/s, m3/min, m3/h, l/s, l/min"
	}
	return "count, /"
}

// KnowsUnit reports whether values of a channel may be in a unit.
func KnowsUnit(c station.Channel, unit string) bool {
	_, ok := unitOf(c, unit)
	return ok
}
