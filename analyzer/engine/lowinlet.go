package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	flatLong   = 2 * station.Minute60 // for which a low inlet must not fall, to be a lower header
	flatShare  = 0.5                  // of the resting pressure before that it has at least (no source)
	flatFallen = 0.002                // share of it that it may fall meanwhile
)

// flat follows an inlet that fell while the piston stood, and rests there. Fields are
// exported for snapshots only.
type flat struct {
	Stood bool            // no stroke drew it down
	From  station.Instant // since when it has not fallen, 0: not looked at yet
	At    float64         // where it was then, Pa gauge
}

// restsLower tells whether a shutdown that the inlet alone told was a header that fell: no
// stroke drew the inlet down, it keeps half of its resting pressure, and does not fall for two
// minutes. Behind a closed valve hose, filter and booster leak, and a line is vented to
// atmosphere; one that is closed and perfectly tight looks the same, as it does where the
// valve is closed and nothing vented. The resting pressure follows.
func (e *Engine) restsLower(end station.Instant) bool {
	s, p1 := &e.State, e.Inlet.Mean
	f := &s.Flat
	if s.ShutdownBy != "inlet" || !f.Stood || p1 < flatShare*e.Supply.Rest || e.Act.Teeth > 0 || e.Act.Strokes > 0 {
		*f = flat{}
		return false
	}
	fallen := math.Max(flatFallen*p1, 4*e.Ends.In.NoiseRaw/math.Sqrt(float64(max(1, e.Inlet.N))))
	if f.From == 0 || p1 < f.At-fallen {
		f.From, f.At = end, p1
	}
	if end.Sub(f.From) < flatLong {
		return false
	}
	e.Supply.Rest, e.Supply.RestAt = p1, end
	return true
}
