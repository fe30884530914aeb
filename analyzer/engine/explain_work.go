package engine

import (
	"strokewise/analyzer/station"
)

func (e *Engine) startsHourInputs() []station.Input {
	b := &e.Basis.Starts
	return append([]station.Input{measured("starts in the minutes watched", float64(b.Hour), ""),
		measured("minutes watched of the last hour", float64(b.Watched), "")}, e.standsInputs()...)
}

func (e *Engine) startsShortInputs() []station.Input {
	b := &e.Basis.Starts
	return append([]station.Input{measured("starts in the last ten minutes", float64(b.Short), ""),
		measured("minutes watched of the last hour", float64(b.Watched), "")}, e.standsInputs()...)
}

// standsInputs say when the piston is taken to have stood.
func (e *Engine) standsInputs() []station.Input {
	return []station.Input{
		computed("without work after which the piston has stood", float64(int64(max(e.Starts.Need, idleSlots))*slotLen)*1e-9, "s"),
		words("traces", orElse(e.tracesTell(), "serve"), station.Measured),
	}
}

func (e *Engine) strokeTimeInputs() []station.Input {
	return append(usualInputs(&e.Speed.Base, 1, "s in units of t"), e.openInputs()...)
}

// openInputs say in which outlets strokes are compared.
func (e *Engine) openInputs() []station.Input {
	return []station.Input{plate("drive over boost piston area", e.Plate.AreaRatio, 1, ""), e.setGiven(),
		assumed("governor open below", 100*openBelow, "% of set", "common practice, no source"),
		assumed("strokes are compared above", 100*openAbove, "% of set", "common practice, no source")}
}

func (e *Engine) overhaulInputs() []station.Input {
	w := &e.Wear
	out := []station.Input{words("serial", orElse(e.Plate.Serial, "not given"), station.FromPlate),
		words("overhauled", orElse(e.Plate.Overhauled, "not given"), station.FromPlate),
		measured("strokes since it is watched", float64(e.Basis.Worn), "")}
	if w.From != 0 && e.Est[station.CyclesSinceOverhaul].Known() {
		out = append(out, at("watched since", w.From))
	}
	return out
}

func (e *Engine) setShiftInputs() []station.Input {
	l := &e.Holds
	return append(append([]station.Input{plate("set_pressure", l.Plate, 1e-3, "kPa gauge")}, usualInputs(&l.Base, 1e-3, "kPa gauge")...),
		assumed("the plate's set pressure takes the usual value's place where they differ by more than", 100*levelTrust, "%", "common practice, no source"))
}
