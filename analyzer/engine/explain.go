package engine

import (
	"math"
	"strings"

	"strokewise/analyzer/air"
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
	switch of := inputs[f]; {
	case e.recalled(f):
		x.Inputs = []station.Input{at("obtained by an earlier version; what from is not kept", e.Est[f].At)}
	case of != nil:
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
	station.LeakFlow:        (*Engine).leakInputs,
	station.LeakConductance: (*Engine).leakInputs,
	station.LeakHole:        (*Engine).holeInputs,
	station.LeakAtMost:      (*Engine).floorInputs,
	station.LeakOnset:       (*Engine).onsetInputs,
	station.LeakTrend:       (*Engine).growthInputs,
	station.InletLeak:       (*Engine).inletLeakInputs,
	station.InternalLeak:    (*Engine).insideInputs,

	station.SupplySag:         (*Engine).sagInputs,
	station.HeaderSag:         (*Engine).headerInputs,
	station.LineSag:           (*Engine).headerInputs,
	station.HeaderStatic:      (*Engine).headerStaticInputs,
	station.SupplyConductance: (*Engine).conductanceInputs,
	station.PipeConductance:   (*Engine).pipeInputs,
	station.SupplyChange:      (*Engine).supplyChangeInputs,
	station.EfficiencyChange:  (*Engine).efficiencyChangeInputs,
	station.SupplyTrend:       (*Engine).supplyTrendInputs,
	station.ConductanceNeeded: (*Engine).neededInputs,
	station.BoreNeeded:        (*Engine).boreInputs,
	station.ReachablePressure: (*Engine).reachInputs,

	station.VolumetricEfficiency: (*Engine).quietInputs,
	station.StrokeDelivery:       (*Engine).quietInputs,
	station.TankVolume:           (*Engine).learnedTankInputs,
	station.InletOverDelivered:   (*Engine).costInputs,
	station.MeterRatio:           (*Engine).meterInputs,
	station.DeadVolume:           (*Engine).deadInputs,

	station.Load:                (*Engine).loadInputs,
	station.HighestRate:         (*Engine).loadInputs,
	station.FreeCapacity:        (*Engine).freeInputs,
	station.StartsHour:          (*Engine).startsHourInputs,
	station.StartsShort:         (*Engine).startsShortInputs,
	station.StrokeTimeChange:    (*Engine).strokeTimeInputs,
	station.CyclesSinceOverhaul: (*Engine).overhaulInputs,
	station.StrokeUnevenness:    (*Engine).unevenInputs,
	station.Pulsation:           (*Engine).pulsationInputs,
	station.SetPressure:         (*Engine).setInputs,
	station.SetShift:            (*Engine).setShiftInputs,
	station.ReliefPops:          (*Engine).popInputs,
	station.PopPressure:         (*Engine).popInputs,
	station.OutletDraw:          (*Engine).drawInputs,
	station.DrawOverUsual:       (*Engine).drawOverInputs,
	station.DrawFloor:           (*Engine).drawFloorInputs,
	station.DrawFloorUsual:      (*Engine).drawFloorUsualInputs,
	station.StoredEnergy:        (*Engine).energyInputs,

	station.InletZero:     (*Engine).inletZeroInputs,
	station.OutletZero:    (*Engine).outletZeroInputs,
	station.OutletOffset:  (*Engine).offsetInputs,
	station.InletNoise:    (*Engine).inletNoiseInputs,
	station.OutletNoise:   (*Engine).outletNoiseInputs,
	station.CountMismatch: (*Engine).mismatchInputs,
	station.CountExcess:   (*Engine).excessInputs,
}

// figure gives another figure as an input of a name.
func (e *Engine) figure(name string, f station.Figure) station.Input {
	k, g := &station.Figures[f], &e.Est[f]
	if !g.Known() {
		return words(name, "unknown: "+g.Reason, station.Computed)
	}
	return computed(name, g.Value*k.Factor, strings.TrimSpace(k.Shown+map[bool]string{true: " ANR"}[k.Air]))
}

// computed and measured give a value, words a text.
func computed(name string, v float64, unit string) station.Input {
	return station.Value(name, finite(v), unit, station.Computed)
}

func measured(name string, v float64, unit string) station.Input {
	return station.Value(name, finite(v), unit, station.Measured)
}

func words(name, text string, from station.Origin) station.Input {
	return station.Input{Name: name, Text: text, Origin: from}
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

// anr gives the pressure of the reference of air volumes.
func anr() station.Input {
	return assumed("p_0: pressure of ANR", float64(air.P0ANR)*1e-3, "kPa abs", "ISO 8778")
}

// setGiven gives the set pressure: the plate's, or the one that was learned.
func (e *Engine) setGiven() station.Input {
	if e.Plate.Set > 0 || e.Supply.LearnedSet <= 0 {
		return plate("set pressure", float64(e.Plate.Set), 1e-3, "kPa gauge")
	}
	return computed("set pressure, learned", e.Supply.LearnedSet*1e-3, "kPa gauge")
}

// finite keeps what is no number out of outputs.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}
