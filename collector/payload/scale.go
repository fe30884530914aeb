package payload

import "strokewise/analyzer/station"

// The signal of a live-zero current loop, mA, and what is no measurement any more: a broken wire or a
// short circuit (NAMUR NE 43: failure at or below 3.6 and at or above 21 mA).
const (
	loopLow, loopHigh   = 4.0, 20.0
	loopBroken, loopFar = 3.6, 21.0
)

// Scale is how the numbers of a channel become a quantity: a straight line through two points, or a
// factor and an offset in a unit.
type Scale struct {
	Low, High float64 // numbers at the ends of the span; equal: there is no span
	From, To  float64 // the quantity there, SI
	Loop      bool    // Low and High are those at 4 and 20 mA

	Factor, Offset float64 // quantity = number*Factor + Offset in Unit; a Factor of 0 is 1
	Unit           string  // "": the payload's, else the topic's
}

// si converts a number of the channel in the payload's unit to SI.
//
//	span:  from + (v - low)/(high - low) * (to - from)
//	loop:  the same, refused where 4 mA + (v - low)/(high - low) * 16 mA is outside of 3.6 to 21 mA
//	else:  v*factor + offset, in the unit
func (s *Scale) si(c station.Channel, v float64, unit string, pressureUnit float64) (float64, *Refusal) {
	if s.Low != s.High {
		share := (v - s.Low) / (s.High - s.Low)
		if mA := loopLow + share*(loopHigh-loopLow); s.Loop && (mA <= loopBroken || mA >= loopFar) {
			return 0, refuse(BrokenWire, "%s: %g stands for %.3g mA, and a sensor gives 4 to 20 mA; look for a broken wire, a short circuit or a sensor without supply", c, v, mA)
		}
		return s.From + share*(s.To-s.From), nil
	}
	if s.Factor != 0 {
		v *= s.Factor
	}
	v += s.Offset
	if s.Unit != "" {
		unit = s.Unit
	}
	return inUnit(c, v, unit, pressureUnit)
}

// inUnit converts a number of the channel in a unit to SI; without unit as plain numbers are meant.
func inUnit(c station.Channel, v float64, unit string, pressureUnit float64) (float64, *Refusal) {
	if unit == "" {
		return c.SI(v, pressureUnit), nil
	}
	l, ok := unitOf(c, unit)
	if !ok {
		return 0, refuse(BadUnit, "%s cannot be in %.20q; it may be in %s, or set unit in the mapping", c, unit, Units(c))
	}
	return v*l.factor + l.offset, nil
}
