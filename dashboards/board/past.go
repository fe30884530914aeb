package board

// Past tells how far a past that is filled in behind has come.
type Past struct {
	Stage string  // what is being filled in: "the last hour"; "" when nothing is
	Done  float64 // station-hours worked out of the stage
	All   float64 // station-hours of the stage
	Ready []string
}

// SetPast says how far the past has come.
func (b *Board) SetPast(p Past) {
	b.mu.Lock()
	b.past = p
	b.mu.Unlock()
}

// Past tells how far the past has come.
func (b *Board) Past() Past {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.past
}
