package engine

import (
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
