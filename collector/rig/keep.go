package rig

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"strokewise/analyzer/station"
)

// Kept is what of a plant outlives the program that runs it.
type Kept struct {
	Began    station.Instant        `json:"began"` // of the very first run
	Stations map[string]KeptStation `json:"stations"`
	Past     []string               `json:"past"` // stretches of the past that are filled in
}

// KeptStation is what of a station outlives the program.
type KeptStation struct {
	Count  int64   `json:"count"`  // what its counter shows
	Outlet float64 `json:"outlet"` // Pa gauge
	Faults []Fault `json:"faults"`
}

// MarshalText implements encoding.TextMarshaler.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (k *Kind) UnmarshalText(b []byte) error {
	v, ok := ParseKind(string(b))
	if !ok {
		return fmt.Errorf("there is no kind of fault %.40q", b)
	}
	*k = v
	return nil
}

// ReadKept reads what Write wrote; a file that is not there gives an empty value.
func ReadKept(path string) (Kept, error) {
	var k Kept
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return k, nil
	}
	if err == nil {
		err = json.Unmarshal(b, &k)
	}
	if err != nil {
		return k, fmt.Errorf("cannot read the state of the virtual plant from %q: %w; move the file away to begin a new one", path, err)
	}
	return k, nil
}

// Write replaces the file as a whole: a reader never sees half of it.
func (k *Kept) Write(path string) error {
	b, err := json.MarshalIndent(k, "", " ")
	if err == nil {
		err = os.WriteFile(path+".new", append(b, '\n'), 0o600)
	}
	if err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return fmt.Errorf("cannot keep the state of the virtual plant: %w", err)
	}
	return nil
}

// Keep returns what of the stations is to be kept.
func (p *Player) Keep() map[string]KeptStation {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := make(map[string]KeptStation, len(p.all))
	for _, s := range p.all {
		out[s.Plate.Key.String()] = KeptStation{
			Count: int64(s.sensors.count), Outlet: s.model.Outlet(), Faults: append([]Fault{}, s.Faults...),
		}
	}
	return out
}
