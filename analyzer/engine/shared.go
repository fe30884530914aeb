package engine

import "strokewise/analyzer/station"

const (
	// sharedTank is why a balance of the tank states nothing: the strokes of the other boosters are not counted here.
	sharedTank = "other boosters fill the same tank, and their strokes are not counted here"
	// sharedLine is why the sag states nothing of the line: what the other booster draws is not known here.
	sharedLine = "another booster draws through the same supply line, and its draw is not known here"
)

// sharesTank reports whether other boosters deliver into the same tank.
func (e *Engine) sharesTank() bool { return e.Plate.Tank != "" }

// ofSharedTank are the figures of a tank's mass balance, which takes the station's strokes for all that come in.
var ofSharedTank = [...]station.Figure{station.LeakAtMost, station.InternalLeak, station.VolumetricEfficiency, station.EfficiencyChange, station.StrokeDelivery,
	station.DeadVolume, station.TankVolume, station.OutletDraw, station.DrawFloor, station.DrawFloorUsual}

// ofTank are the figures that a tank has once, however many boosters fill it.
var ofTank = [...]station.Figure{station.LeakFlow, station.LeakConductance, station.LeakHole, station.LeakOnset, station.LeakTrend, station.StoredEnergy}

// ofSharedLine are the figures that take the station's draw for all that flows through its supply line.
var ofSharedLine = [...]station.Figure{station.SupplyConductance, station.SupplyChange, station.SupplyTrend, station.ConductanceNeeded, station.BoreNeeded,
	station.FreeCapacity}

// leaveShared leaves unknown what cannot be told of a station that shares its tank or its supply line, and what is stated
// at the station that speaks for the tank.
func (e *Engine) leaveShared() {
	p := &e.Plate
	if p.Tank != "" {
		e.leave(ofSharedTank[:], sharedTank)
	}
	if p.TankAt != "" {
		e.leave(ofTank[:], e.toldAt())
	}
	if p.LineShared {
		e.leave(ofSharedLine[:], sharedLine)
	}
}

func (e *Engine) leave(figures []station.Figure, reason string) {
	for _, f := range figures {
		e.Est[f] = station.Unknown(reason)
	}
}

// toldAt returns why a figure of the tank is not told here, put in words once.
func (e *Engine) toldAt() string {
	if e.elsewhere.at != e.Plate.TankAt {
		e.elsewhere.at, e.elsewhere.text = e.Plate.TankAt, "told of "+e.Plate.TankAt+", which has the same tank"
	}
	return e.elsewhere.text
}

// elsewhereText is the station that speaks for the tank, and why nothing is told here.
type elsewhereText struct{ at, text string }
