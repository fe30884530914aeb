package engine

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// sideStrokes is how many strokes of a side unevenness is taken over.
const sideStrokes = 16

// health follows how the booster strokes: whether its two sides take equally long, and how
// much the outlet pulsates. Fields are exported for snapshots only.
type health struct {
	Last  station.Instant // end of the last stroke that the traces showed
	Side  station.Side
	Times [2][sideStrokes]float64 // s that strokes of a side took
	N     [2]int
	Stood bool // since the last stroke

	Count                  float64 // outlet samples of the present window
	T, TT, X, TX, XX, Mean float64 // their sums: s and Pa, less the first
	From                   station.Instant
	Ripple, Weight         float64 // Pa peak to peak, and over how many windows
}

// strokeTimes takes the end of a stroke as the traces show it, alone (n = 1) or with unseen
// ones before it: the time since the one before is that of its side, unless the piston
// stood in between. Times of the counter would not do: it turns a little later than the
// traces, and tells one side only.
func (e *Engine) strokeTimes(at station.Instant, n int) {
	h := &e.Health
	side, method := e.side(at)
	last, was := h.Last, h.Side
	stood := h.Stood
	h.Last, h.Side, h.Stood = at, side, false
	took, usual := at.Sub(last), e.usualInterval()
	if n != 1 || stood || side == was || last == 0 || usual == 0 || took > 2*usual {
		return
	}
	i := int(side - station.SideA)
	h.Times[i][h.N[i]%sideStrokes] = float64(took) * 1e-9
	h.N[i]++
	if h.N[0] < sideStrokes || h.N[1] < sideStrokes || i == 1 {
		return
	}
	a, b := median(h.Times[0]), median(h.Times[1])
	conf := 0.4
	if method == station.MethodBoth {
		conf = 0.7
	}
	e.Est[station.StrokeUnevenness] = station.Estimate{Value: 2 * math.Abs(a-b) / (a + b), Method: method, Confidence: conf * e.timing(), At: at}
}

// side tells which side's stroke ends at a time: with a cycle counter, b ends with the
// increment; without one they alternate.
func (e *Engine) side(at station.Instant) (station.Side, station.Method) {
	f := &e.Fuse
	if !f.Seen || !f.PerCycle {
		return f.Next, station.MethodTraces
	}
	if f.Held > f.LastInc || at.Sub(f.LastInc) < f.Interval.Median()/3 {
		return station.SideB, station.MethodBoth
	}
	return station.SideA, station.MethodBoth
}

func median(v [sideStrokes]float64) float64 {
	slices.Sort(v[:])
	return (v[sideStrokes/2-1] + v[sideStrokes/2]) / 2
}

// pulse takes the slot's outlet samples, Pa gauge, while the piston works. Over two strokes
// the straight line is taken off; what is left, less the noise, is the ripple. For a sawtooth
// of peak-to-peak height h the standard deviation is h/sqrt(12).
func (h *health) pulse(times []station.Instant, values []float64) {
	if h.Count == 0 {
		h.From, h.Mean = times[0], values[0]
		h.T, h.TT, h.X, h.TX, h.XX = 0, 0, 0, 0, 0
	}
	t, tt, x, tx, xx := h.T, h.TT, h.X, h.TX, h.XX
	for i, v := range values {
		s, y := float64(times[i].Sub(h.From))*1e-9, v-h.Mean
		t, tt, x, tx, xx = t+s, tt+s*s, x+y, tx+s*y, xx+y*y
	}
	h.Count += float64(len(values))
	h.T, h.TT, h.X, h.TX, h.XX = t, tt, x, tx, xx
}

// ripple closes the window where it is long enough, and learns from it.
func (e *Engine) ripple(end station.Instant, working bool) {
	h, usual := &e.Health, e.usualInterval()
	if !working || usual == 0 || e.State.Charging {
		h.Count = 0
		return
	}
	if h.Count < 8 || end.Sub(h.From) < 2*usual {
		return
	}
	n := h.Count
	h.Count = 0
	d := n*h.TT - h.T*h.T
	if d <= 0 {
		return
	}
	slope := (n*h.TX - h.T*h.X) / d
	noise := e.Ends.Out.Noise()
	left := (h.XX-h.X*h.X/n-slope*slope*d/n)/n - noise*noise
	h.Weight = min(h.Weight+1, 100)
	h.Ripple += (math.Sqrt(12*max(0, left)) - h.Ripple) / h.Weight
	if mean := h.Mean + h.X/n; h.Weight >= 10 && mean > 0 {
		e.Est[station.Pulsation] = station.Estimate{Value: h.Ripple / mean, Method: station.MethodTraces, Confidence: 0.6, At: end}
	}
}
