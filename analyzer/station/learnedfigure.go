package station

import (
	"math"
	"slices"
)

// methodOf returns the method of a name, MethodNone for one that this version does not know.
func methodOf(name string) Method { return Method(max(0, slices.Index(methodNames[:], name))) }

// Set sets a figure of a name to a known estimate.
func (l *LearnedFigure) Set(name string, g *Estimate) {
	*l = LearnedFigure{Name: name, Method: g.Method.String(), Value: g.Value, Low: g.Low, High: g.High, Confidence: g.Confidence, From: g.From, At: g.At}
}

// Estimate returns the estimate that the figure was set to, an unknown one where its method is not known
// or its value is no number.
func (l *LearnedFigure) Estimate() Estimate {
	m := methodOf(l.Method)
	if m == MethodNone || math.IsNaN(l.Value) || math.IsInf(l.Value, 0) {
		return Unknown("not obtained yet")
	}
	return Estimate{Value: l.Value, Low: l.Low, High: l.High, Method: m, Confidence: l.Confidence, From: l.From, At: l.At}
}
