package engine

import "strokewise/analyzer/station"

// What makes several figures known.
const (
	needsStrokes = "two seconds of strokes against an outlet above the inlet"
	needsLine    = "what the supply conductance needs, and a sag of 0.4 % or more"
	needsQuiet   = "bores and stroke or swept volumes in the plate data, and five quiet rounds or more: recharges of twelve strokes in all, between standing times of 40 s and more in which nothing but a leak draws"
	needsOpen    = "bores in the plate data, and three readings of six strokes with the outlet between 60 and 97 % of set; or max_stroke_rate in the plate data"
	needsVented  = "a minute at rest of both sides within 60 kPa of atmosphere, the supply closed"
	needsNoise   = "a minute of samples, quick enough to show strokes"
)

// needs say what would make a figure known.
var needs = [station.NumFigures]string{
	station.LeakFlow:        "the tank volume in the plate data, and a minute or more in which the piston stands and nothing is drawn, or three minutes of even strokes with the outlet at set",
	station.LeakConductance: "the same as the leak",
	station.LeakHole:        "the same as the leak",
	station.LeakAtMost:      "five minutes in a row, fed throughout, with strokes and the air of a stroke known; it is left out while the leak itself is known",
	station.LeakOnset:       "four figures of the leak, at least a quarter of an hour apart, over an hour or more, and a change of the conductance by a quarter and four standard errors",
	station.LeakTrend:       "six figures of the leak, at least a quarter of an hour apart, over two hours or more, since the onset where there is one",
	station.InletLeak:       "bore and length of the supply line and bores and stroke or swept volumes in the plate data, and a closed supply for half a minute in which the inlet is above 100 kPa",
	station.InternalLeak:    "five rounds of recharging and standing at an even pace, with the leak by a standing window within them, or with short recharges",

	station.SupplySag:         needsStrokes + "; a rest of the piston within two minutes before makes it surer",
	station.HeaderSag:         needsStrokes + ", and a header sensor or a rest of the inlet within 10 s before and after",
	station.LineSag:           needsStrokes + ", and a header sensor or a rest of the inlet within 10 s before and after",
	station.HeaderStatic:      "a header sensor, or a rest of the piston within ten minutes",
	station.SupplyConductance: "bores and stroke or swept volumes in the plate data, and strokes within seconds of a time in which the piston stands for some cycles, or a header sensor",
	station.PipeConductance:   "bore and length of the supply line in the plate data, and " + needsLine,
	station.EfficiencyChange:  "two hours that hold quiet recharges: thirty readings of the efficiency, three minutes apart or more",
	station.SupplyChange:      "thirty readings of the supply conductance, 20 s apart or more",
	station.SupplyTrend:       "five days with readings of the supply conductance, and a sixth that closes the last of them",
	station.ConductanceNeeded: needsLine,
	station.BoreNeeded:        "bore and length of the supply line in the plate data, and a line that passes as much as they give, within its band",
	station.ReachablePressure: "bores in the plate data, and a piston that works",

	station.VolumetricEfficiency: needsQuiet,
	station.StrokeDelivery:       needsQuiet,
	station.TankVolume:           needsQuiet,
	station.InletOverDelivered:   "bores and stroke or swept volumes in the plate data, and ten strokes with both pressures known",
	station.MeterRatio:           "a flow meter at the inlet, five minutes of strokes or more with it, and the station within what the meter has seen",
	station.DeadVolume:           "the tank volume in the plate data, and twenty quiet recharges at clearly different ratios of outlet to inlet pressure",

	station.Load:                needsOpen,
	station.HighestRate:         needsOpen,
	station.FreeCapacity:        "what load needs, the supply conductance and the header at rest",
	station.StartsHour:          "a quarter of an hour in which the piston can be watched",
	station.StartsShort:         "ten minutes in which the piston can be watched",
	station.StrokeTimeChange:    "bores in the plate data, and thirty readings of six strokes with the outlet between 60 and 97 % of set",
	station.CyclesSinceOverhaul: "serial or overhauled in the plate data",
	station.StrokeUnevenness:    "16 strokes of each side whose ends the traces show, without standing in between",
	station.Pulsation:           "ten stretches of two strokes with at least eight outlet samples each, at a known stroke interval, not while charging",
	station.SetPressure:         "set_pressure in the plate data, or a run that ends at set",
	station.SetShift:            "fifteen runs that the governor ended where the plate's set pressure is 5 % off, else thirty",
	station.ReliefPops:          "readings of the outlet; falls count where bores and tank volume are in the plate data",
	station.PopPressure:         "five falls of the outlet within ten minutes, from one pressure and while strokes go on",
	station.OutletDraw:          "the tank volume and bores and stroke or swept volumes in the plate data, and five seconds fed",
	station.DrawOverUsual:       "half an hour fed, with the outlet at set in between",
	station.DrawFloor:           "what the air that leaves the outlet needs, for ten minutes in a row with the outlet above the inlet",
	station.DrawFloorUsual:      "the steady draw of five minutes, each the least of ten",
	station.StoredEnergy:        "the tank volume in the plate data, and an outlet reading",

	station.InletZero:     needsVented,
	station.OutletZero:    needsVented,
	station.OutletOffset:  "a fed moment in which the piston stands and the inlet rests",
	station.InletNoise:    needsNoise,
	station.OutletNoise:   needsNoise,
	station.CountExcess:   "a cycle counter",
	station.CountMismatch: "200 counts, or 200 strokes in runs of eight and more whose ends stand well out of the noise, at a header that is seen often enough to be followed; or quiet recharges that ask for more strokes than were counted",
}
