package model

// Still is a time in which the piston stood: slower than the slowest stroke, and not in changeover.
type Still struct{ From, To float64 } // s

// leastStill is the shortest standing time that is kept, s: the piston stands for some
// hundredths of a second at each end of a stroke.
const leastStill = 0.5

// stills keeps when the piston stood; the oldest give way. No slice, so that a Station can be
// copied.
type stills struct {
	ring  [16]Still
	n     int // ever added
	read  int // ever taken, or lost
	since float64
	rests bool
}

// account adds a step of dt s that ends at at.
func (w *stills) account(travels bool, at, dt float64) {
	if travels == !w.rests {
		return
	}
	w.rests = !travels
	if !travels {
		w.since = at - dt
		return
	}
	if from := w.since; at-dt-from >= leastStill {
		w.ring[w.n%len(w.ring)] = Still{from, at - dt}
		w.n++
		w.read = max(w.read, w.n-len(w.ring))
	}
}

// TakeStills appends the standing times of half a second and more that ended since the last
// call, at most the latest 16.
func (s *Station) TakeStills(to []Still) []Still {
	w := &s.stills
	for ; w.read < w.n; w.read++ {
		to = append(to, w.ring[w.read%len(w.ring)])
	}
	return to
}

// Still returns since when the piston stands, s; false while it moves.
func (s *Station) Still() (since float64, stands bool) { return s.stills.since, s.stills.rests }
