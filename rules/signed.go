package rules

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// Figures with a sign, in words that need none: nobody reads "-12 % more".

// percent returns a share in whole per cent, without its sign.
func percent(share float64) string { return fmt.Sprintf("%.0f %%", math.Abs(100*share)) }

// countCompared returns how the strokes that were made compare with those that the counter counted.
func (v *Evaluator) countCompared() string {
	e := &v.last().Estimates[station.CountMismatch]
	switch x := value(e); {
	case x < 0 && e.Method == station.MethodCounter:
		return "The counter's switch bounces: " + percent(x) + " of its counts come faster than the piston can move, and are left out"
	case math.IsNaN(x):
		return "It is not known whether the pressure readings and the counter agree on the strokes"
	case x < 0:
		return "The counter counts too many strokes: the pressure readings show " + percent(x) + " fewer"
	default:
		return "The counter misses strokes: the pressure readings show " + percent(x) + " more"
	}
}

// deliveryChanged compares the air of a stroke with its usual.
func (v *Evaluator) deliveryChanged() string {
	switch x := value(&v.last().Estimates[station.EfficiencyChange]); {
	case math.IsNaN(x):
		return "It is not known whether a stroke delivers as much as usual"
	case x < 0:
		return "A stroke delivers " + percent(x) + " less than usual"
	default:
		return "A stroke delivers as much as usual or " + percent(x) + " more"
	}
}

// setMoved compares the pressure at which the governor stops the piston with the usual one.
func (v *Evaluator) setMoved() string {
	switch x := value(&v.last().Estimates[station.SetShift]); {
	case math.IsNaN(x):
		return "at a pressure that is not known to be the usual one"
	case x < 0:
		return v.plate.Reading.Difference(-x) + " lower than usual"
	default:
		return v.plate.Reading.Difference(x) + " higher than usual"
	}
}

// inspectionLeft words when the tank's inspection is due.
func (v *Evaluator) inspectionLeft() string {
	x := v.now[qInspectionDays]
	if math.IsNaN(x) {
		return "without a date"
	}
	return leftOf(int64(x), "day", "due ")
}
