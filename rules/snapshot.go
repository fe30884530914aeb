package rules

import (
	"encoding/gob"
	"fmt"
	"io"
	"slices"

	"strokewise/analyzer/station"
)

// Schema names the layout of the evaluator's snapshots.
const Schema = "2"

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
	if err := gob.NewDecoder(r).Decode(&v.memory); err != nil {
		return nil, fmt.Errorf("cannot read alarm snapshot of %s: %w", plate.Key, err)
	}
	v.arrange()
	return v, nil
}

// arrange puts the alarms of a snapshot in the order of this program's catalogue: new ones
// begin as normal, ones that are gone are dropped.
func (v *Evaluator) arrange() {
	old := v.memory
	v.Names, v.Alarms = alarmNames(), make([]alarm, len(catalogue))
	for i := range v.Names {
		if j := slices.Index(old.Names, v.Names[i]); j >= 0 && j < len(old.Alarms) {
			v.Alarms[i] = old.Alarms[j]
		}
	}
	if v.HaveStep {
		v.fill(&v.Last)
	}
}
