package station

import "fmt"

// TankBand is the relative half-width of the 90 % band of a tank volume given in the plate
// (common practice, no source).
const TankBand = 0.05

// PlateDoubts says where the plate's data and the traces contradict each other by more than both
// bands, "" where they do not: the tank's volume against the one that counted strokes fill. Either
// the volume in the plate is wrong, or strokes deliver much less than they should (a worn seal, a
// leaking check valve) or, where the learned one is smaller, more than they can: swept volumes.
func PlateDoubts(p *Plate, e *Estimates) string {
	t := &e[TankVolume]
	v := p.TankVolume
	if v <= 0 || !t.Known() || t.Low <= v*(1+TankBand) && t.High >= v*(1-TankBand) {
		return ""
	}
	why := "or strokes deliver less than they should"
	if t.Value < v {
		why = "or the bores and stroke are"
	}
	return fmt.Sprintf("the plate gives a tank of %.1f L, counted strokes fill one of %.1f L (%.1f to %.1f): the plate's tank volume is wrong, %s",
		v*1e3, t.Value*1e3, t.Low*1e3, t.High*1e3, why)
}
