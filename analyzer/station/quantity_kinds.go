package station

import (
	"math"
	"slices"
	"strings"
	"time"
)

// The inch is 25.4 mm by definition, the foot 12 inches; the psi is a pound-force,
// 4.4482216152605 N, on a square inch (0.45359237 kg times 9.80665 m/s², all exact by
// definition; from memory).
const (
	inch = 25.4e-3
	psi  = 4.4482216152605 / (inch * inch)
)

var (
	lengths = quantity{what: "a length", example: "63 mm",
		units: []unit{{"mm", 1e-3}, {"cm", 1e-2}, {"m", 1}, {"in", inch}, {"ft", 12 * inch}}}
	pressures = quantity{what: "a pressure", example: "900 kPa", negative: true,
		units:   []unit{{"kPa", 1e3}, {"MPa", 1e6}, {"Pa", 1}, {"bar", 1e5}, {"mbar", 1e2}, {"psi", psi}},
		aliases: []unit{{"hPa", 1e2}}}
	volumes = quantity{what: "a volume", example: "20 L",
		units:   []unit{{"L", 1e-3}, {"mL", 1e-6}, {"m3", 1}, {"cm3", 1e-6}, {"dm3", 1e-3}},
		aliases: []unit{{"l", 1e-3}, {"ml", 1e-6}, {"m³", 1}, {"cm³", 1e-6}, {"dm³", 1e-3}}}
	flows = quantity{what: "a flow of air at ANR", example: "15 L/min",
		units: []unit{{"L/min", 1e-3 / 60}, {"L/s", 1e-3}, {"m3/h", 1. / 3600}, {"m3/min", 1. / 60}},
		aliases: []unit{{"m3/s", 1}, {"L/h", 1e-3 / 3600}, {"l/min", 1e-3 / 60}, {"l/s", 1e-3}, {"l/h", 1e-3 / 3600},
			{"m³/h", 1. / 3600}, {"m³/min", 1. / 60}, {"m³/s", 1}}}
	durations = quantity{what: "a duration", example: "2 s",
		units:   []unit{{"ms", 1e6}, {"s", 1e9}, {"min", 60e9}, {"h", 3600e9}, {"d", 24 * 3600e9}},
		aliases: []unit{{"us", 1e3}, {"µs", 1e3}, {"ns", 1}}}
	sizes = quantity{what: "a size", example: "20 GB",
		units:   []unit{{"kB", 1e3}, {"MB", 1e6}, {"GB", 1e9}, {"KiB", 1 << 10}, {"MiB", 1 << 20}, {"GiB", 1 << 30}},
		aliases: []unit{{"B", 1}, {"TB", 1e12}, {"TiB", 1 << 40}}}
	rates = quantity{what: "a rate", example: "2 /s",
		units: []unit{{"/s", 1}, {"Hz", 1}, {"/min", 1. / 60}}}
	ratios   = quantity{what: "a share", example: "10 %", units: []unit{{"%", 1e-2}}}
	energies = quantity{what: "a specific energy", example: "0.12 kWh/m3",
		units:   []unit{{"kWh/m3", 3.6e6}, {"Wh/m3", 3.6e3}, {"kJ/m3", 1e3}, {"J/m3", 1}},
		aliases: []unit{{"kWh/m³", 3.6e6}, {"Wh/m³", 3.6e3}, {"kJ/m³", 1e3}, {"J/m³", 1}}}
	emissions = quantity{what: "an emission", example: "0.30 kg/kWh",
		units: []unit{{"kg/kWh", 1 / 3.6e6}, {"g/kWh", 1e-3 / 3.6e6}, {"kg/MWh", 1e-3 / 3.6e6}}}
	prices = quantity{what: "a price with its currency", example: "0.18 EUR/kWh", units: []unit{{"kWh", 1 / 3.6e6}, {"MWh", 1 / 3.6e9}}}
)

// ParseLength reads a length, in m.
func ParseLength(s string) (float64, error) { return lengths.parse(s) }

// ParseVolume reads a geometric volume, in m³.
func ParseVolume(s string) (float64, error) { return volumes.parse(s) }

// ParseFlow reads a flow of air at ANR, in m³/s.
func ParseFlow(s string) (float64, error) { return flows.parse(s) }

// ParseRate reads a rate, in 1/s.
func ParseRate(s string) (float64, error) { return rates.parse(s) }

// ParseRatio reads a share: "10 %" is 0.1.
func ParseRatio(s string) (float64, error) { return ratios.parse(s) }

// ParseSpecificEnergy reads the energy that a volume of air costs, in J/m³.
func ParseSpecificEnergy(s string) (float64, error) { return energies.parse(s) }

// ParseEmission reads the emission of used energy, in kg/J.
func ParseEmission(s string) (float64, error) { return emissions.parse(s) }

// ParseDuration reads a duration, rounded to nanoseconds; up to 290 years.
func ParseDuration(s string) (time.Duration, error) {
	ns, err := durations.parse(s)
	if err != nil {
		return 0, err
	}
	if ns = math.Round(ns); ns >= math.MaxInt64 {
		return 0, durations.fail(s, "is out of range")
	}
	return time.Duration(ns), nil
}

// ParseBytes reads a size, in whole bytes.
func ParseBytes(s string) (int64, error) {
	n, err := sizes.parse(s)
	if err != nil {
		return 0, err
	}
	if n = math.Round(n); n >= math.MaxInt64 {
		return 0, sizes.fail(s, "is out of range")
	}
	return int64(n), nil
}

// ParseGauge reads a gauge pressure; a pressure that ends in "abs" is converted at the
// given ambient pressure.
func ParseGauge(s string, ambient Absolute) (Gauge, error) {
	bare, isAbs := cutAbs(s)
	pa, err := parsePressure(s, bare)
	switch {
	case err != nil:
		return 0, err
	case !isAbs:
		return Gauge(pa), nil
	case pa < 0:
		return 0, pressures.fail(s, "is negative")
	default:
		return Absolute(pa).Gauge(ambient), nil
	}
}

// ParseAbsolute reads an absolute pressure; it must end in "abs".
func ParseAbsolute(s string) (Absolute, error) {
	bare, isAbs := cutAbs(s)
	pa, err := parsePressure(s, bare)
	if err == nil && !isAbs {
		err = pressures.fail(s, "is a gauge pressure")
	}
	if err == nil && pa < 0 {
		err = pressures.fail(s, "is negative")
	}
	if q, ok := err.(*QuantityError); ok {
		q.Expected, q.Example = "an absolute pressure in "+pressures.list()+` with " abs" at its end`, "98 kPa abs"
		return 0, q
	}
	return Absolute(pa), nil
}

// parsePressure reads the pressure bare, which stands in s.
func parsePressure(s, bare string) (float64, error) {
	pa, err := pressures.parse(bare)
	if q, ok := err.(*QuantityError); ok {
		q = pressures.fail(s, q.Problem)
		q.Expected += ` (gauge, unless it ends in "abs")`
		return 0, q
	}
	return pa, nil
}

// cutAbs takes the word "abs" off the end of s.
func cutAbs(s string) (string, bool) {
	s = strings.TrimSpace(s)
	if t, ok := strings.CutSuffix(s, "abs"); ok {
		if u := strings.TrimSpace(t); u != t {
			return u, true
		}
	}
	return s, false
}

// PressureUnit gives what one of the named unit of pressure is in Pa.
func PressureUnit(name string) (pascals float64, ok bool) {
	f, problem := pressures.factor(name)
	return f, problem == ""
}

// PressureUnits names the units of pressure, for messages.
func PressureUnits() string { return pressures.list() }

// Price is what energy costs.
type Price struct {
	PerJoule float64 // in units of Currency
	Currency string  // three capital letters
}

// PerKWh gives the price of a kilowatt-hour.
func (p Price) PerKWh() float64 { return p.PerJoule * 3.6e6 }

// ParsePrice reads a price of energy: a number, a currency code of three capital letters
// and "/kWh" or "/MWh".
func ParsePrice(s string) (Price, error) {
	number, name := splitQuantity(s)
	currency, per, _ := strings.Cut(name, "/")
	currency = strings.TrimSpace(currency)
	v, err := prices.parse(number + " " + strings.TrimSpace(per))
	problem := ""
	if q, ok := err.(*QuantityError); ok {
		problem = q.Problem
	}
	if number != "" && name != "" && !isCurrency(currency) {
		problem = "has no currency code of three capital letters"
	}
	if problem != "" {
		q := prices.fail(s, problem)
		q.Expected = "a price with its currency, for a kWh or MWh"
		return Price{}, q
	}
	return Price{PerJoule: v, Currency: currency}, nil
}

func isCurrency(s string) bool {
	if len(s) != 3 {
		return false
	}
	for i := range len(s) {
		if s[i] < 'A' || s[i] > 'Z' {
			return false
		}
	}
	return true
}

// UnitNames lists the names of all units of all quantities, each once, for whoever has to know which of them a
// parser takes.
func UnitNames() []string {
	var out []string
	for _, q := range []*quantity{&lengths, &pressures, &volumes, &flows, &durations, &sizes, &rates, &ratios, &energies, &emissions, &prices, &temperatures} {
		for _, list := range [...][]unit{q.units, q.aliases} {
			for _, u := range list {
				if !slices.Contains(out, u.name) {
					out = append(out, u.name)
				}
			}
		}
	}
	return out
}
