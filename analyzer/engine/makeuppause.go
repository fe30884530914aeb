package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// paused reports whether the draw of a finished minute, m³/s ANR, was none at some moment of it: a leak draws
// at every moment, whatever the strokes deliver in the mean. The least of the balances over five seconds
// (see drawFloor) tells,
//
//	least < flow/2 - n m_b/t - 4 sqrt(2) s V_t/(p_0 t) T_0/T
//
// with n the strokes that a count may place in the next window (2 where cycles are counted), m_b a stroke's air, s the
// noise of a slot's mean and t = 5 s. Where no balance is known nothing is concluded.
func (e *Engine) paused(m *station.Minute, flow float64) bool {
	d := &e.LeastDraw
	if d.N == 0 || m.Strokes == 0 {
		return false
	}
	const t = drawSlots * float64(slotLen) * 1e-9
	n := 1.0
	if e.inCycles() {
		n = 2
	}
	noise := e.Ends.Out.Noise() / math.Sqrt(max(1, float64(e.Outlet.N)))
	margin := n*m.Delivered.CubicMetres()/float64(m.Strokes) + 4*math.Sqrt2*noise*e.Plate.TankVolume/float64(air.P0ANR)*e.airTemperature().Density()
	return d.Least[floorSpan-1] < pausesBelow*flow-margin/t
}
