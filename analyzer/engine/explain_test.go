package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// Whoever argues with a figure must find how it is obtained and by what right: every figure
// that the engine estimates has a formula and a source, and says what would make it known.
func TestFiguresSayHowTheyAreObtained(t *testing.T) {
	for f := range station.Figures {
		k := &station.Figures[f]
		if !Implemented(station.Figure(f)) {
			continue
		}
		if k.Formula == "" || k.Source == "" {
			t.Errorf("%s: formula %q, source %q", k.Name, k.Formula, k.Source)
		}
		if inputs[f] == nil || needs[f] == "" {
			t.Errorf("%s: no inputs, or not what would make it known", k.Name)
		}
	}
	e := New(station.Plate{}, nil)
	for _, x := range e.Sums() {
		if x.Formula == "" || x.Source == "" || len(x.Inputs) == 0 {
			t.Errorf("%s: formula %q, source %q, %d inputs", x.Name, x.Formula, x.Source, len(x.Inputs))
		}
	}
}

// An engine that knows nothing explains without numbers that are none, and asking changes
// nothing.
func TestExplainOfNothing(t *testing.T) {
	e := New(station.Plate{}, nil)
	before := e.core
	for f := range station.Figure(station.NumFigures) {
		x := e.Explain(f)
		if Implemented(f) && (x.Estimate.Known() || x.Needs == "") {
			t.Errorf("%s is known from nothing, or does not say what would make it known", x.Name)
		}
		for _, i := range x.Inputs {
			if math.IsNaN(i.Value) || math.IsInf(i.Value, 0) {
				t.Errorf("%s: %s is %v", x.Name, i.Name, i.Value)
			}
		}
	}
	if before.Slot != e.Slot || before.Basis != e.Basis {
		t.Error("asking changed the engine")
	}
}
