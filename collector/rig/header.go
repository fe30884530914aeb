package rig

// jam is the friction, N, of a piston that is stuck: more than any booster's forces.
const jam = 1e7

// weakFlow is the flow, L/s ANR, at which a weak header falls by the fault's level.
const weakFlow = 10.0

// weak is a header that falls while air is drawn from it, as one at the end of a long pipe
// does.
type weak struct {
	drawn float64 // L ANR at the last look
	flow  float64 // L/s ANR, of about the last second
}

// fall returns by how many Pa the header has fallen, where it falls by level at weakFlow. drawn
// is all the air drawn so far, L ANR.
func (w *weak) fall(level, drawn float64) float64 {
	const second = 1e9 / float64(look) // looks in one
	w.flow += ((drawn-w.drawn)*second - w.flow) / second
	w.drawn = drawn
	return level * w.flow / weakFlow
}
