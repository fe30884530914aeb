package engine

import (
	"encoding/gob"
	"fmt"
	"io"

	"strokewise/analyzer/station"
)

// Schema names the layout of snapshots.
const Schema = "12"

// Save writes the engine's whole state but the Status, which is the caller's to keep.
func (e *Engine) Save(w io.Writer) error {
	if err := gob.NewEncoder(w).Encode(&e.core); err != nil {
		return fmt.Errorf("cannot write engine snapshot of %s: %w", e.Plate.Key, err)
	}
	return nil
}

// Restore gives an engine in the state that Save wrote, reporting to obs. Whether the
// snapshot's Schema and Version fit is the caller's to check, and to put Status back.
func Restore(r io.Reader, obs Observer) (*Engine, error) {
	e := &Engine{obs: obs, status: new(station.Status)}
	e.emit, e.found = e.stroke, e.candidate
	if err := gob.NewDecoder(r).Decode(&e.core); err != nil {
		return nil, fmt.Errorf("cannot read engine snapshot: %w", err)
	}
	return e, nil
}
