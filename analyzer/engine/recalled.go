package engine

import "strokewise/analyzer/station"

// ofTheMoment are figures that only say how the station stands now: nothing of them is learned.
var ofTheMoment = [station.NumFigures]bool{
	station.HeaderStatic: true, station.Load: true, station.HighestRate: true, station.FreeCapacity: true,
	station.StartsHour: true, station.StartsShort: true, station.ReliefPops: true, station.PopPressure: true,
	station.OutletDraw: true, station.DrawOverUsual: true, station.DrawFloor: true, station.StoredEnergy: true,
	station.InletNoise: true, station.OutletNoise: true, station.CountExcess: true,
}

// recalled reports whether a figure stands as it was recalled.
func (e *Engine) recalled(f station.Figure) bool {
	g := &e.Est[f]
	return e.Basis.Recalled != 0 && g.Known() && !ofTheMoment[f] && g.Method != station.MethodPlate && g.At <= e.Basis.Recalled
}
