// Package accuracy compares what the analyzer concludes with what is true, over recordings of
// independent physics models and over stations drawn at random, and holds it to a stored table.
// It is the accuracy gate: see DEVELOPERS.md.
package accuracy

import (
	"math"

	"strokewise/analyzer/station"
)

// Case is a station with truth, to be played through the analyzer.
type Case struct {
	Group string // where it comes from: a group of recordings, or Drawn
	Kind  string // of station, by which drawn ones are grouped
	Name  string
	Plate station.Plate
	// Counter reports whether the station has a cycle counter; without one it is played from
	// the traces alone.
	Counter bool
	// Play calls yield with the samples in the order of time, and returns the truth. Blocks are
	// valid until yield returns.
	Play func(yield func([]station.Block)) (Truth, error)
}

// start is when every case begins: a full minute, so that minutes of truth and analyzer agree.
const start = station.Instant(1767225600 * station.Second)

// Truth is what is true of a case. Times are s from start; NaN is not known, and not compared.
type Truth struct {
	Fed, Stroking    float64   // s outside of gaps, by the definition of duty in analyzer/station
	Holding, Starved float64   // s outside of gaps
	Ends             []float64 // of strokes
	Minutes          []Minute
	// Lost reports whether the readings at a time are lost in a gap; nil: none are.
	Lost  func(at float64) bool
	Line  float64 // C/sqrt(1-b) of the supply line, m³/(s·Pa)
	Leak  float64 // conductance at the outlet, m³/(s·Pa); 0: tight
	Due   []Due
	May   []string // alarms that are true as well: neither due nor false
	Traps []string // alarms that would be false
}

// Minute is the air of a minute of truth: all of it, and that outside of gaps.
type Minute struct{ All, Seen Air }

// Air is volumes of air in L ANR.
type Air struct{ Delivered, Inlet, Exhaust float64 }

// Due is an alarm that must be raised at From or later, and By then, in s.
type Due struct {
	Alarm    string
	From, By float64
}

// stall returns the seconds of stall, and false where they are not known one by one.
func (t *Truth) stall() (holding, starved float64, split bool) {
	return t.Holding, t.Starved, !math.IsNaN(t.Holding) && !math.IsNaN(t.Starved)
}

// endsIn returns the strokes that ended in the minutes that count. What happens in a gap is known
// from the counter alone.
func (t *Truth) endsIn(counts map[int]bool, counter bool) []float64 {
	var out []float64
	for _, at := range t.Ends {
		if counts[int(at/60)] && (counter || t.Lost == nil || !t.Lost(at)) {
			out = append(out, at)
		}
	}
	return out
}
