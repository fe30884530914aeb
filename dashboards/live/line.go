package live

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// Line is one channel's extremes (Pa gauge) over bins of time, in order of time. Bins
// without a sample are left out, so that a slow sensor still draws as one line.
type Line struct {
	Step      int64             // ns a bin
	At        []station.Instant // begin of the bin
	Low, High []float32         // NaN both: the line breaks here
}

func (l *Line) add(t station.Instant, low, high float32) {
	l.At, l.Low, l.High = append(l.At, t), append(l.Low, low), append(l.High, high)
}

// Len gives the number of points, breaks included.
func (l *Line) Len() int { return len(l.At) }

// Last gives the newest point that has a value.
func (l *Line) Last() (t station.Instant, low, high float32, ok bool) {
	for i := len(l.At) - 1; i >= 0; i-- {
		if !math.IsNaN(float64(l.Low[i])) {
			return l.At[i], l.Low[i], l.High[i], true
		}
	}
	return 0, 0, 0, false
}

// longGap is how many times the usual distance of points breaks the line.
const longGap = 5

// Break puts a break into every gap that is longer than five times the usual (median)
// distance of the points.
func (l *Line) Break() {
	if len(l.At) < 3 {
		return
	}
	gaps := make([]int64, len(l.At)-1)
	for i := range gaps {
		gaps[i] = l.At[i+1].Sub(l.At[i])
	}
	sorted := slices.Clone(gaps)
	slices.Sort(sorted)
	limit := longGap * max(sorted[len(sorted)/2], l.Step)
	out := Line{Step: l.Step}
	nan := float32(math.NaN())
	for i := range l.At {
		out.add(l.At[i], l.Low[i], l.High[i])
		if i < len(gaps) && gaps[i] > limit {
			out.add(l.At[i].Add(gaps[i]/2), nan, nan)
		}
	}
	*l = out
}
