package engine

import (
	"math"

	"strokewise/analyzer/balance"
	"strokewise/analyzer/station"
)

const (
	// unanchored is how long, ns, after its last rest the header's level still serves: a slew of
	// 0.3 kPa/s, a common compressor's, is then some kPa. Own choice.
	unanchored = 20 * station.Second
	// widest is the half-width of the conductance's band, share of it, above which it is not told. Own choice.
	widest = 0.25
	// headerHides is why the conductance is not told.
	headerHides = "the header moves by more than the line takes, or is not seen: the piston must stand within seconds of strokes"
)

// through is the inlet air of the strokes since the last end. Fields are exported for snapshots only.
type through struct {
	New station.Microlitres
	N   float64 // strokes
}

// anchored reports whether the header's level was seen lately.
func (e *Engine) anchored(end station.Instant) bool {
	return e.Feed.Rests || end.Sub(e.Feed.KnownAt) <= unanchored
}

// passed handles the end of a stroke, or of a cycle where only cycles are told.
func (e *Engine) passed(at station.Instant) {
	t := e.Supply.Through
	e.Supply.Through = through{}
	switch {
	case !e.lineDraws():
		e.Bal.Break()
	default:
		e.Bal.Cycle(at, t.New.CubicMetres(), t.N*e.usualStroke(), e.Ends.In.Noise())
	}
}

// lineDraws reports whether what passes the line is what strokes draw.
func (e *Engine) lineDraws() bool {
	return e.State.ShutdownAt == 0 && !e.passing() && e.Doubt.Who == 0
}

// usualStroke returns the time of a stroke at work, s, 0 while unknown.
func (e *Engine) usualStroke() float64 { return float64(e.Fuse.Interval.Quartile()) * 1e-9 }

// watchLine handles the slot that ended.
func (e *Engine) watchLine(end station.Instant) {
	if !e.lineDraws() {
		e.Bal.Break()
		return
	}
	amb := float64(e.Plate.AmbientPressure())
	if x, ok := e.headerNow(end); ok && e.Hdr.At > end.Add(-slotLen) {
		n := e.Hdr.N
		e.Bal.Header(e.Hdr.At.Add(-slotLen/2*int64(n-1)/int64(n)), x+amb, n)
	} else if e.Bal.Unstood(end) && e.rests(end) {
		e.Bal.Header(end.Add(-slotLen/2), e.Inlet.Mean+amb, e.Inlet.N)
	} else if f := &e.Feed; e.Bal.Headless() && !f.Rests && f.BreakAt != 0 && e.strokesShow() {
		e.Bal.Header(f.BreakAt, f.BreakBy+amb, 1) // strokes were not known to show yet when that rest ended
	}
	strokes := 1.0
	if e.inCycles() {
		strokes = 2
	}
	e.Bal.Stand(end, strokes*e.usualStroke(), e.Ends.In.Noise())
}

// rests reports whether the piston is seen to stand throughout the slot that ended: no stroke that would draw
// visibly can be hidden in it.
func (e *Engine) rests(end station.Instant) bool {
	return e.strokesShow() && e.Feed.Rests && e.Feed.Since <= end.Add(-slotLen) && e.Act.Strokes == 0 && e.Inlet.N > 0
}

// inletSamples passes samples of the inlet to the balance of the line.
func (e *Engine) inletSamples(times []station.Instant, values []float64) {
	amb := float64(e.Plate.AmbientPressure())
	for i, x := range values {
		e.Bal.Sample(times[i], x+amb)
	}
}

// estimateConductance states C/sqrt(1-b) of the line where strokes have passed it since it was stated last.
// Its band is that of the balance and of the air of a stroke, which all strokes have in common. It reports
// whether anything was stated.
func (e *Engine) estimateConductance() bool {
	g := &e.Est[station.SupplyConductance]
	c, sd, ok := e.Bal.Conductance()
	switch {
	case e.Plate.SweptBoost <= 0 || e.Plate.SweptDrive <= 0:
		*g = station.Unknown("needs bores and stroke, or swept volumes")
	case e.Bal.Newest == 0 || e.Bal.Newest == g.At:
		return false
	case !ok || z90*sd > widest:
		*g = station.Unknown(headerHides)
	default:
		c /= e.airTemperature().Root()
		half := c * math.Hypot(z90*sd, e.Air.band())
		*g = station.Estimate{Value: c, Low: max(0, c-half), High: c + half, Method: station.MethodTraces, Confidence: 0.9 - 2*sd, At: e.Bal.Newest}
		*g = widened(*g, e.airTemperature(), 0.5)
	}
	return true
}

// forgetLine drops what is known of the line.
func (e *Engine) forgetLine() { e.Bal = balance.Line{} }
