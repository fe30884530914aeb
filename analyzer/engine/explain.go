package engine

import (
	"math"

	"strokewise/analyzer/station"
)

// Explain says how a figure was obtained, from the present state. It costs nothing while
// nobody asks.
func (e *Engine) Explain(f station.Figure) station.Explanation {
	k := &station.Figures[f]
	x := station.Explanation{
		Name: k.Name, Key: k.Key, Title: k.Title, What: k.What, Formula: k.Formula, Source: k.Source,
		Estimate: e.Est[f], Unit: k.Shown, Factor: k.Factor, Places: k.Places, Air: k.Air,
	}
	if of := inputs[f]; of != nil {
		x.Inputs = of(e)
	}
	if !x.Estimate.Known() {
		x.Needs = orElse(needs[f], firstReasons[f])
	}
	return x
}

// Implemented tells whether this engine estimates a figure at all.
func Implemented(f station.Figure) bool { return firstReasons[f] != "" }

// inputs give what a figure was obtained from.
var inputs = [station.NumFigures]func(*Engine) []station.Input{
	station.LeakFlow:          (*Engine).leakInputs,
	station.LeakConductance:   (*Engine).leakInputs,
	station.SupplySag:         (*Engine).sagInputs,
	station.SupplyConductance: (*Engine).conductanceInputs,
	station.StrokeUnevenness:  (*Engine).unevenInputs,
	station.Pulsation:         (*Engine).pulsationInputs,
	station.SetPressure:       (*Engine).setInputs,
	station.StoredEnergy:      (*Engine).energyInputs,
}

// needs say what would make a figure known.
var needs = [station.NumFigures]string{
	station.LeakFlow:          "the tank volume in the plate data, and a minute or more in which the piston stands and nothing is drawn, or three minutes of even strokes with the outlet at set",
	station.LeakConductance:   "the same as the leak",
	station.SupplySag:         "two seconds of strokes against an outlet above the inlet; a rest of the piston within two minutes before makes it surer",
	station.SupplyConductance: "bores and stroke or swept volumes in the plate data, and what the sag needs",
	station.StrokeUnevenness:  "16 strokes of each side whose ends the traces show, without standing in between",
	station.Pulsation:         "ten stretches of two strokes with at least eight outlet samples each, at a known stroke interval, not while charging",
	station.SetPressure:       "set_pressure in the plate data, or a run that ends at set",
	station.StoredEnergy:      "the tank volume in the plate data, and an outlet reading",
}

// plate gives an input of the plate, or says that it is missing.
func plate(name string, v, factor float64, unit string) station.Input {
	if v <= 0 {
		return station.Input{Name: name, Text: "not given", Origin: station.FromPlate}
	}
	return station.Value(name, v*factor, unit, station.FromPlate)
}

// assumed gives a constant.
func assumed(name string, v float64, unit, source string) station.Input {
	return station.Input{Name: name, Value: v, Unit: unit, Origin: station.Assumed, Source: source}
}

// at gives a time.
func at(name string, t station.Instant) station.Input {
	return station.Input{Name: name, Text: t.Floor(station.Second).String(), Origin: station.Measured}
}

// seen gives a pressure of a channel, if one has come.
func seen(name string, l *level) station.Input {
	if !l.Seen {
		return station.Input{Name: name, Text: "no reading yet", Origin: station.Measured}
	}
	return station.Value(name, l.Mean*1e-3, "kPa gauge", station.Measured)
}

// ambient gives the ambient pressure: given, or standard.
func (e *Engine) ambient() station.Input {
	p := e.Plate.AmbientPressure()
	if e.Plate.Ambient > 0 {
		return station.Value("ambient pressure", float64(p)*1e-3, "kPa abs", station.FromPlate)
	}
	return assumed("ambient pressure", float64(p)*1e-3, "kPa abs", "standard atmosphere")
}

// finite keeps what is no number out of outputs.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}
