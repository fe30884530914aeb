package sensors

import (
	"math"

	"strokewise/analyzer/station"
)

// seen is what a station's traces show against its plate: logarithms of ratios, NaN where one is not known.
type seen struct {
	top   float64 // outlet where the piston stands, over set
	reach float64 // the same over the highest outlet that the forces allow, p1 (1 + A_d/A_b)
	in    float64 // inlet over outlet where the piston stands: the check valves let through what is more than 1
	lift  float64 // a count's lift over the expected one
	half  float64 // ripple of the inlet at twice the rhythm of counts, over that at it
	// readings where the piston stands, Pa gauge
	p1, p2 float64
	high   float64 // the highest inlet
	spread float64 // of lift, 1
	least  float64 // lower bound of lift
	quiet  float64 // the same of quiet recharges
	doubt  float64 // standard deviation of quiet
	vented [2]float64
}

// Widths of the laws. Each is the standard deviation of a sound station's logarithm of a ratio, common practice without source
// where not said otherwise. A third more makes a mistake of 10 % of set pass unnoticed; a third less finds fault with 1 sound station in 30.
const (
	topWidth   = 0.02 // a set that is adjusted by a gauge of class 1.6 and a governor's hysteresis
	stallWidth = 0.05 // friction of 20 to 60 kPa on the drive piston
	edgeWidth  = 0.03 // of the bounds of the forces and check valves: sensors of 1 % on both sides, two cracking pressures
	liftWidth  = 0.10 // tank 5 %, dead volume 3 %, heat of compression 7 %
	reachWidth = 0.25 // of the whole way between both bounds, own choice: it orders what is possible, and is too wide to refute anything
	leastWidth = 0.15 // of a lower bound of the lift
	halfCycles = 2.0  // ln 7.4: two strokes of a cycle are nearly alike, so the ripple at the rhythm of cycles is small
	halfWidth  = 0.9
	oneStroke  = -0.8 // ln 0.45: of an asymmetric dip
	oneWidth   = 0.6
)

// ventedOdds is the log odds against a pressure that was left and happens to be the atmosphere's.
const ventedOdds = 6.0

// vents returns the log likelihood of what sensors read while vented, NaN: not known. An inlet above the outlet would flow through
// the check valves.
func vents(v *[2]float64) (sum float64) {
	for _, x := range v {
		if math.Abs(x) > ventedWithin {
			sum -= ventedOdds
		}
	}
	if over := v[0] - v[1]; over > 2*ventedWithin {
		sum += normal(over, 2*ventedWithin, ventedWithin)
	}
	return sum
}

// Bounds of sound stations, logarithms.
var (
	leastReach = math.Log(0.45) // of what could be reached, own choice: a booster that could do twice as much would be a smaller one
	mostReach  = 0.0            // the balance of forces without friction
	usualReach = math.Log(0.68) // middle of both, own choice
	leastIn    = math.Log(1 / 6.0)
	mostIn     = math.Log(0.97) // set lies above the header, or nobody would boost
)

// healthy returns the logarithm of the likelihood of what is seen of a sound station, less that of its likeliest value.
func healthy(s *seen, cycles bool) float64 {
	at := normal(s.top, 0, topWidth)
	stalled := math.Log(0.05) + normal(s.reach, -0.06, stallWidth) // it stands where the forces balance, below set
	if !math.IsNaN(s.top) && s.top > 0 {
		stalled += normal(s.top, 0, topWidth)
	}
	sum := at
	if !math.IsNaN(s.reach) {
		sum = max(at, stalled)
	}
	sum += within(s.reach, leastReach, mostReach) + normal(s.reach, usualReach, reachWidth) + within(s.in, leastIn, mostIn)
	sum += normal(s.lift, 0, math.Hypot(liftWidth, s.spread)) + normal(max(0, s.least), 0, leastWidth)
	sum += normal(s.quiet, 0, math.Hypot(station.TankBand, s.doubt))
	return sum + vents(&s.vented) + rhythm(s.half, cycles)
}

// rhythm returns the log likelihood of the ripple's rhythm for a counter of cycles or of strokes.
func rhythm(half float64, cycles bool) float64 {
	if cycles {
		return normal(min(half, halfCycles), halfCycles, halfWidth)
	}
	return normal(max(half, oneStroke), oneStroke, oneWidth)
}

// normal returns the log likelihood of a normal deviate less its greatest, 0 where it is not known. Farther than eight
// deviations is as unlikely as eight, so that one relation alone does not overrule all others.
func normal(x, mean, width float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	z := math.Abs(x-mean) / width
	return -min(z, 8) * min(z, 8) / 2
}

// within returns the log likelihood of a value that may lie anywhere between two bounds.
func within(x, low, high float64) float64 {
	switch {
	case x < low:
		return normal(x, low, edgeWidth)
	case x > high:
		return normal(x, high, edgeWidth)
	}
	return 0
}

// ratioBy returns the logarithm of the plate's 1 + A_d/A_b times k over that of the plate.
func ratioBy(p *station.Plate, k float64) float64 {
	return math.Log((1 + p.AreaRatio*k) / (1 + p.AreaRatio))
}
