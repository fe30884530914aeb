package engine

import (
	"math"

	"strokewise/analyzer/feed"
	"strokewise/analyzer/station"
)

const (
	// throughStrokes are the fewest strokes that a conductance is told from. Own choice.
	throughStrokes = 12
	// throughFor is how many strokes the past counts for. Own choice.
	throughFor = 2000.0
	// unanchored is how long, ns, after its last rest the header's level still serves: a slew of
	// 0.3 kPa/s, a common compressor's, is then some kPa. Own choice.
	unanchored = 20 * station.Second
	// knownLevel is the share of the sag by which the header's level may be uncertain: a tenth of the
	// flow. Own choice.
	knownLevel = 0.2
	// standsOut is how many times the least visible draw a stroke must draw in the mean, so that
	// what stays below it at its turns is a few per cent of it.
	standsOut = 2.0
)

// through sums up what passed the supply line, and what made it pass:
//
//	air = C integral p_ref psi(p1/p_ref) dt        ISO 6358
//
// over strokes that drew visibly from end to end. Slow strokes, whose draw drowns in the noise,
// would make the line look wide. Fields are exported for snapshots only.
type through struct {
	Air     float64             // m³ ANR of the strokes' inlet air, the past fading
	Pull    float64             // Pa s, the integral
	Strokes float64             // of them
	New     station.Microlitres // inlet air of strokes since the last end
	N       float64             // of them
	At      station.Instant     // of the last end
	Drawn   float64             // Ends.Drawn then
}

// conductance returns C, m³/(s Pa) ANR.
func (t *through) conductance() float64 { return t.Air / t.Pull }

// anchored reports whether the header's level was seen lately.
func (e *Engine) anchored(end station.Instant) bool {
	return e.Feed.Rests || end.Sub(e.Feed.KnownAt) <= unanchored
}

// passed handles the end of a stroke, or of a cycle where only cycles are told.
func (e *Engine) passed(at station.Instant) {
	t, f := &e.Supply.Through, &e.Feed
	from, drawn := t.At, e.Ends.DrawnBy(at)-t.Drawn
	air, n := t.New.CubicMetres(), t.N
	t.At, t.Drawn, t.New, t.N = at, t.Drawn+drawn, 0, 0
	took := float64(at.Sub(from)) * 1e-9
	stood := f.BreakAt > from || f.Rests && f.Since < at.Add(-feed.FrameLen)
	if stood || air <= 0 || took <= 0 || !e.followed() || !e.anchored(at) || e.passing() || e.State.ShutdownAt != 0 {
		return
	}
	flow := drawn / took // mean root of the sag
	if flow < standsOut*math.Sqrt(e.Ends.LeastSag()) || f.Sd(at) > knownLevel*flow*flow {
		return
	}
	keep := math.Exp(-n / throughFor)
	t.Air = t.Air*keep + air
	t.Pull = t.Pull*keep + pulled(e.Ends.Ref+float64(e.Plate.AmbientPressure()), drawn, flow*flow)
	t.Strokes = t.Strokes*keep + n
}

// pulled returns the integral of p_ref psi(p1/p_ref), Pa s, for an integral of sqrt(sag), Pa^½ s,
// at about this sag, Pa, below ref, Pa absolute. With x = sag/(p_ref (1-b)), small,
//
//	p_ref psi = p_ref sqrt(2 x - x²) = sqrt(2 p_ref/(1-b)) sqrt(sag) (1 - x/4)
func pulled(ref, drawn, sag float64) float64 {
	k := ref * (1 - assumedB)
	return math.Sqrt(2*ref/(1-assumedB)) * drawn * (1 - sag/(4*k))
}
