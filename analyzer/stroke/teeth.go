package stroke

import "strokewise/analyzer/station"

// Teeth weighs the teeth of the outlet against what a full stroke delivers. With a small tank
// the governor may close several times within one stroke: each time makes a tooth and a gulp as
// strokes do, and only their mass tells. It gives the draw of a stroke roughly, so that teeth
// are not taken for strokes, nor cycles. Fields are exported for snapshots only.
type Teeth struct {
	Top    float64         // of the last tooth, Pa gauge
	TopAt  station.Instant // 0: none
	Area   float64         // draw at it
	Fall   float64         // steepest lately, Pa/ns: what is consumed while nothing is delivered
	Drawn  float64         // sum of draws from tooth to tooth, older ones weigh less
	Share  float64         // sum of the strokes that they delivered
	Weight float64         // sum of the weights
	N      int
}

const (
	teethKeep  = 0.97 // weight of the past at each tooth
	leastTeeth = 12
	clearLift  = 100.0 // deviations of noise by which a stroke must lift the outlet
	slowFall   = 0.05  // s over which the outlet's fall is looked at
)

// weigh weighs the tooth that ended at c: over what a stroke lifts the outlet of a closed tank.
func (e *Ends) weigh(c *Candidate) {
	o, h := &e.Out, &e.Teeth
	if e.Lift < clearLift*o.Noise() {
		*h = Teeth{}
		return
	}
	last, area := h.TopAt, h.Area
	m, first := o.upTo(c.At), o.oldest()
	top := m
	for i := max(first, m-o.samples(0.05)); i <= min(m+o.samples(0.05), o.N-1); i++ {
		if o.value(i) > o.value(top) {
			top = i
		}
	}
	before := h.Top
	h.Top, h.TopAt, h.Area = o.value(top), o.TimeOf(top), c.Area
	if last == 0 || last < o.TimeOf(first) || h.TopAt <= last || c.Area <= area || o.Step > slowFall/2 {
		return
	}
	w, steepest := o.samples(slowFall), 0.0
	for i := top; i-w > first && o.TimeOf(i-w) >= last; i-- {
		fall := (o.value(i-w) - o.value(i)) / float64(o.TimeOf(i).Sub(o.TimeOf(i-w)))
		steepest = max(steepest, fall)
	}
	h.Fall = max(steepest, 0.85*h.Fall)
	share := (h.Fall*float64(h.TopAt.Sub(last)) + h.Top - before) / e.Lift
	h.Drawn, h.Share, h.Weight = teethKeep*h.Drawn+c.Area-area, teethKeep*h.Share+share, teethKeep*h.Weight+1
	h.N++
}

// Each gives what is drawn from tooth to tooth, in the mean.
func (h *Teeth) Each() float64 { return h.Drawn / h.Weight }

// Full gives the draw of a stroke, roughly, 0: unknown.
func (h *Teeth) Full() float64 {
	if h.N < leastTeeth || h.Share <= 0 {
		return 0
	}
	return h.Drawn / h.Share
}
