package pipeline

import (
	"strokewise/analyzer/engine"
	"strokewise/analyzer/station"
)

// Explain says how the state, the sums and each figure that is estimated were obtained. It
// reads the unit and changes nothing.
func (u *Unit) Explain() []station.Explanation {
	out := u.engine.Sums()
	for f := range station.NumFigures {
		if engine.Implemented(f) || u.Status.Estimates[f].Known() {
			out = append(out, u.engine.Explain(f))
		}
	}
	return out
}
