package engine

import "strokewise/analyzer/station"

func (e *Engine) drawInputs() []station.Input {
	f := &e.Falls
	return []station.Input{
		computed("air that strokes delivered in the window", 1e3*f.Given, "L ANR"),
		plate("tank volume", e.Plate.TankVolume, 1e3, "L"),
		measured("outlet when the window began", 1e-3*f.Out[0], "kPa abs"),
		measured("outlet when it ended", 1e-3*f.Out[drawSlots], "kPa abs"),
		computed("T_0 over the temperature of the air", e.airTemperature().Density(), ""),
		anr(),
		assumed("length of the window", drawSlots*float64(slotLen)*1e-9, "s", "own choice"),
	}
}

func (e *Engine) drawOverInputs() []station.Input {
	f := &e.Falls
	unit, factor := "dm³/(s·bar)", 1e8
	if f.Bare {
		unit, factor = "1/s, fall of ln p", 1.0
	}
	draw, usual := f.Draw, f.Top
	if x := &f.Plunge; x.Draw > 0 && (f.Fed < drawKnown || f.Top <= 0) { // of the fall to below the inlet, against the strokes
		draw, usual = x.Draw, x.Usual
	}
	return []station.Input{
		computed("draw over the outlet's absolute pressure", factor*draw, unit),
		computed("highest that was usual", factor*usual, unit),
		computed("fed time that it was learned in", f.Fed/60, "min"),
		assumed("it fades over", drawFades/86400, "d", "own choice"),
	}
}
