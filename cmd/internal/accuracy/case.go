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
	Fed, Stroking    float64   // s, by the definition of duty in analyzer/station
	Holding, Starved float64   // s
	Ends             []float64 // of strokes
	Minutes          []Minute
	Line             float64 // C/sqrt(1-b) of the supply line, m³/(s·Pa)
	Leak             float64 // conductance at the outlet, m³/(s·Pa); 0: tight
	Due              []Due
	Traps            []string // alarms that would be false
}

// Minute is a minute of truth, air in L ANR.
type Minute struct{ Inlet, Exhaust, Delivered float64 }

// Due is an alarm that must be raised at From or later, and By then, in s.
type Due struct {
	Alarm    string
	From, By float64
}

// stall returns the seconds of stall, and false where they are not known one by one.
func (t *Truth) stall() (holding, starved float64, split bool) {
	return t.Holding, t.Starved, !math.IsNaN(t.Holding) && !math.IsNaN(t.Starved)
}

// endsIn returns the strokes that ended in the minutes that count.
func (t *Truth) endsIn(counts map[int]bool) []float64 {
	var out []float64
	for _, at := range t.Ends {
		if counts[int(at/60)] {
			out = append(out, at)
		}
	}
	return out
}
