package rules

import (
	"slices"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
)

// Evidence is one figure or fact behind an alarm.
type Evidence struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"`
	Shown string  `json:"shown,omitempty"` // the value as people of the site read it, with its unit
	Text  string  `json:"text,omitempty"`  // instead of Value where it is no number
}

// String returns the evidence in words: "inlet pressure: 520 kPa gauge".
func (e *Evidence) String() string {
	value := e.Text
	if value == "" {
		value = e.Shown
	}
	if value == "" { // of an older history
		value = strings.TrimSpace(strconv.FormatFloat(e.Value, 'g', 4, 64) + " " + e.Unit)
	}
	return strings.ReplaceAll(e.Name, "_", " ") + ": " + value
}

// Progress reports whether the evidence is what Transition.Said adds to the message.
func (e *Evidence) Progress() bool {
	if e.Name == progressWords {
		return true
	}
	for _, q := range followed {
		switch e.Name {
		case q + whenRaised, q + whatNow, q + whatSlope:
			return true
		}
	}
	return false
}

// show sets the words of each figure that has none, in the unit of reading.
func show(list []Evidence, in station.Reading) {
	for i := range list {
		e := &list[i]
		if e.Shown != "" || e.Text != "" {
			continue
		}
		if q, ok := quantityOf(e.Name); ok {
			e.Shown = asRead(q, e.Value, in)
		} else {
			e.Shown = inUnit(e.Value, e.Unit, in)
		}
	}
}

// shares are quantities of the rules' own that people read in per cent.
var shares = []int{qDuty, qSagLimit, qRestriction, qGain}

// asRead returns a quantity as people read it, with its unit.
func asRead(q int, x float64, in station.Reading) string {
	k := &quantities[q]
	name := k.Name
	if other := figureAlias[name]; other != "" {
		name = other
	}
	f, figure := station.FigureOf(name)
	switch {
	case k.Unit == "Pa":
		return inUnit(x, k.Show, in)
	case figure:
		kind := &station.Figures[f]
		unit := kind.Shown
		if kind.Air {
			unit += " ANR"
		}
		return strings.TrimSpace(strconv.FormatFloat(x*kind.Factor, 'f', kind.Places, 64) + " " + unit)
	case slices.Contains(shares, q), strings.HasSuffix(name, "_confidence"):
		return strconv.FormatFloat(100*x, 'f', 0, 64) + " %"
	case q == qRatio:
		return strconv.FormatFloat(x, 'f', 2, 64)
	case k.Unit == "1/s":
		return strconv.FormatFloat(60*x, 'f', 0, 64) + " /min"
	}
	return inUnit(x, k.Show, in)
}

// inUnit returns a value of an SI unit as people read it.
func inUnit(x float64, unit string, in station.Reading) string {
	number := func(by float64, decimals int) string { return strconv.FormatFloat(x*by, 'f', decimals, 64) }
	switch unit {
	case "Pa gauge":
		return in.Gauge(x)
	case "Pa":
		return in.Difference(x)
	case "Pa/s":
		return in.Slope(x)
	case "m³/s ANR":
		return number(60e3, 1) + " L/min ANR"
	case "s":
		return secondsOf(int64(x * 1e9))
	case "J":
		return number(1e-3, 1) + " kJ"
	case "1", "":
		return number(1, 0)
	}
	return number(1, 0) + " " + unit
}
