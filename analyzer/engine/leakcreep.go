package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// lineFall is the fall of the inlet, Pa from slot to slot, that a vent makes and no leak of a
// line, nor the creeping piston (common practice, no source).
const lineFall = 3e3

// leakCreep gives the volume, m³, that the standing booster adds to the tank at most, on the mean,
// while the outlet falls in the window: air.CreepVolume at the window's mean outlet and the supply's resting
// pressure. In a deep fall the piston comes to its end: half a stroke over the fall of ln p.
func (e *Engine) leakCreep() float64 {
	l, amb := &e.Leak, e.Plate.AmbientPressure()
	p1 := e.inletAbs()
	if e.State.ShutdownAt != 0 && e.Supply.Rest > 0 {
		p1 = station.Gauge(e.Supply.Rest).Absolute(amb) // that the drive chamber was filled at
	}
	n := len(l.P)
	creep := air.CreepVolume(&e.Plate, p1, station.Absolute((l.P[0]+l.P[n-1])/2))
	fall := math.Log(l.P[0] / l.P[n-1])
	most := e.Plate.SweptBoost * (1 + 0.5/max(fall, 1e-3))
	return min(creep, most)
}

// lineEmpties tells whether a closed inlet is being let out: the piston moves along with it.
func (e *Engine) lineEmpties() bool {
	l := &e.Inlet
	if e.State.ShutdownAt == 0 || l.N == 0 || l.Mean < vented || l.Mean > fedShare*e.Supply.Rest {
		return false
	}
	noise := e.Ends.In.NoiseRaw / math.Sqrt(float64(l.N))
	return l.Before-l.Mean > max(8*noise, lineFall)
}
