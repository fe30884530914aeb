package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// beginner is how many strokes it takes to trust what they draw.
const beginner = 24

// reference sets the pressure that the draw is measured from: the one at which the inlet
// rests or, until it has been seen to rest, the highest seen. Where the header moves it is followed.
func (e *Engine) reference() {
	e.refute()
	rested := e.Supply.Rest > 0
	e.Ends.Ref = e.Supply.Rest
	if !rested {
		e.Ends.Ref = e.Supply.Peak
	}
	_, sensed := e.headerNow(e.Slot)
	if e.followed() && (sensed || !rested || !e.Supply.steady()) {
		e.Ends.Ref = e.Feed.Level
	}
	if rested && e.Drawless.At == e.Supply.RestAt {
		rested, e.Ends.Ref = false, 0
	}
	// until strokes were found the inlet may seem to rest while it draws
	moved := e.Pace.Accepted < beginner && math.Abs(e.Ends.Ref-e.RefThen) > 0.3*e.Ends.Flow*e.Ends.Flow
	if rested != e.Rested || rested && moved {
		e.Rested, e.RefThen = rested, e.Ends.Ref
		e.Pace.Forget(e.Ends.Drawn, e.Ends.Ref <= 0)
	}
}

// refute gives up a resting pressure that the inlet is above again and again: it was none, the
// piston only crept, or the header has risen since. Shorter times above are a blow of the line
// after a stroke.
func (e *Engine) refute() {
	above := e.Ends.Above > 0.3*float64(slotLen)*1e-9
	if above {
		e.Refuted += 2
	}
	if e.Refuted = max(0, e.Refuted-1); e.Refuted >= refuted && above && e.Supply.Rest > 0 {
		e.Supply.Rest, e.Refuted = max(e.Supply.Rest, e.Ends.Top), 0
	}
	e.Ends.Above, e.Ends.Top = 0, 0
}

// refuted is by how many slots more the inlet must be above the resting pressure than not.
const refuted = 6

// strokeLift returns by how much a stroke lifts the outlet of a closed tank, Pa, where eta of the swept
// boost volume is delivered: kappa p1 V_b eta/V_t, since the air has no time to cool. 0 where the plate
// lacks a volume.
func (e *Engine) strokeLift(eta float64) float64 {
	p := &e.Plate
	if p.TankVolume <= 0 || p.SweptBoost <= 0 {
		return 0
	}
	return air.Kappa * eta * float64(e.inletAbs()) * p.SweptBoost / p.TankVolume
}

// lift sets the lift of a stroke, with an eta of 0.9, where that is much.
func (e *Engine) lift() {
	e.Ends.Lift = 0
	if lift := e.strokeLift(0.9); lift > leastLift && e.Plate.Sensor != station.AtBranch {
		e.Ends.Lift = lift
	}
}

// leastLift, Pa: where a stroke lifts the outlet by less, a governor does not close within it.
const leastLift = 60e3
