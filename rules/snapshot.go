package rules

import (
	"encoding/gob"
	"fmt"
	"io"

	"strokewise/analyzer/station"
)

// Schema names the layout of the evaluator's snapshots.
const Schema = "7"

// Save writes the evaluator's whole state.
func (v *Evaluator) Save(w io.Writer) error {
	if err := gob.NewEncoder(w).Encode(&v.memory); err != nil {
		return fmt.Errorf("cannot write alarm snapshot of %s: %w", v.plate.Key, err)
	}
	return nil
}

// Restore gives an evaluator in the state that Save wrote.
func Restore(r io.Reader, plate *station.Plate, emit func(*Transition)) (*Evaluator, error) {
	v := NewEvaluator(plate, emit)
	v.memory = memory{}
	if err := gob.NewDecoder(r).Decode(&v.memory); err != nil {
		return nil, fmt.Errorf("cannot read alarm snapshot of %s: %w", plate.Key, err)
	}
	v.arrange()
	if v.HaveStep {
		v.shut = v.told(v.last(), v.last().At)
		v.fill(v.last())
	}
	return v, nil
}
