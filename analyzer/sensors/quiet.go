package sensors

import (
	"math"

	"strokewise/analyzer/station"
)

// Quiet is the tank's volume that counted strokes filled in quiet recharges, with its 90 % band, m³; 0: not known. It is learned by others,
// from rounds in which nothing but a leak draws, so it holds for slow strokes and behind a hose as well. Fields are exported for snapshots only.
type Quiet struct{ Value, Low, High float64 }

// ratio returns the logarithm of the plate's volume over that which was filled, the share of the expected lift, and its standard deviation;
// NaN where one of them is not known.
func (q *Quiet) ratio(p *station.Plate) (log, deviation float64) {
	if p.TankVolume <= 0 || q.Value <= 0 || q.Low <= 0 {
		return math.NaN(), 0
	}
	return math.Log(p.TankVolume / q.Value), math.Log(q.High/q.Low) / (2 * z90)
}

// z90 is the normal deviate that 90 % lie within.
const z90 = 1.645
