package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	inletSettle = 3 * station.Second  // after the closing, or after the last stroke
	inletLeast  = 30 * station.Second // of fall that is judged
	inletMost   = 300 * station.Second
	dumpWithin  = 10 * station.Second // in which a line that falls to half was emptied on purpose
	chokedFor   = 100e3               // Pa gauge above which a leak of any usual critical ratio is choked, nearly
)

// inletWatch follows the inlet while a valve closes the supply. Fields are exported for
// snapshots only.
type inletWatch struct {
	For      station.Instant // closing that is watched, 0: none
	From     station.Instant // start of the fall that is measured
	P0       float64         // Pa abs there
	Rest     float64         // Pa gauge, at which the inlet rested before
	N        float64         // slots
	T, TT    float64         // sums of s since From
	Y, TY    float64         // sums of ln(p/P0)
	YY       float64
	Finished bool
}

// watchInletLeak adds the slot to the fall of the inlet, and judges it every half minute.
func (e *Engine) watchInletLeak(start, end station.Instant) {
	w := &e.Closed
	at := e.State.ShutdownAt
	if at == 0 || e.Inlet.N == 0 || e.Doubt.Who != 0 {
		if at == 0 {
			*w = inletWatch{}
		}
		return
	}
	if w.For != at {
		*w = inletWatch{For: at, Rest: e.Supply.Rest}
	}
	if w.Finished || start < at.Add(inletSettle) && e.Inlet.Mean > chokedFor {
		return
	}
	if e.Inlet.Mean <= chokedFor {
		w.Finished = true
		e.endInletLeak(end)
		return
	}
	if w.N == 0 || e.Act.Teeth > 0 && w.N < 20 {
		*w = inletWatch{For: at, Rest: w.Rest, From: start, P0: float64(e.inletAbs())}
	}
	t, y := float64(end.Sub(w.From))*1e-9-0.25, math.Log(float64(e.inletAbs())/w.P0)
	w.N++
	w.T, w.TT, w.Y, w.TY, w.YY = w.T+t, w.TT+t*t, w.Y+y, w.TY+t*y, w.YY+y*y
	if age := end.Sub(w.From); age%inletLeast < slotLen && age >= inletLeast {
		e.judgeInletLeak(end)
		w.Finished = age >= inletMost
	}
}

// endInletLeak judges a line that has become nearly empty: by a valve that dumps it, or by
// a leak.
func (e *Engine) endInletLeak(end station.Instant) {
	w := &e.Closed
	switch {
	case end.Sub(max(w.From, w.For)) <= dumpWithin:
		e.Est[station.InletLeak] = station.Unknown("the inlet empties as soon as the supply closes: vented on purpose, or by a leak as large as a vent")
	case w.N >= 10:
		e.judgeInletLeak(end)
	}
}

// judgeInletLeak states the loss of the inlet side at its resting pressure as an upper bound:
//
//	q = V r (p_rest/p0),  r = -d ln p/dt + 1.645 s_r
//
// V is the hose, pi/4 d² l, and what may hang on it of the cylinder, two chambers of either
// kind; the booster bleeds too, so that q is no leak but the most that leaks. Air that comes
// past a valve that does not close, or back from the tank, hides a part of it.
func (e *Engine) judgeInletLeak(at station.Instant) {
	w, v := &e.Closed, e.inletVolume()
	if v <= 0 {
		e.Est[station.InletLeak] = station.Unknown("needs bore and length of the supply, and bores and stroke or swept volumes")
		return
	}
	d := w.N*w.TT - w.T*w.T
	if w.N < 10 || d <= 0 {
		return
	}
	slope := (w.N*w.TY - w.T*w.Y) / d
	left := max(0, w.YY-w.Y*w.Y/w.N-slope*slope*d/w.N)
	se := math.Sqrt(left / (w.N - 2) * w.N / d)
	r := max(0, -slope) + 1.645*se
	rest := w.Rest
	if rest <= 0 {
		rest = w.P0 - float64(e.Plate.AmbientPressure())
	}
	q := v * r * (rest + float64(e.Plate.AmbientPressure())) / float64(air.P0ANR) * e.airTemperature().Density()
	e.Basis.Inlet = inletBasis{-slope, se, rest}
	conf := 0.6
	if e.State.ShutdownBy != station.ByValve {
		conf = 0.3 // a header that falls looks the same
	}
	e.Est[station.InletLeak] = station.Estimate{Value: q, High: q, Method: station.MethodBound, Confidence: conf, From: w.From, At: at}
}

// inletVolume gives the volume, m³, of the hose with what may hang on it of the cylinder, 0
// where it is not known.
func (e *Engine) inletVolume() float64 {
	p := &e.Plate
	if p.SupplyBore <= 0 || p.SupplyLength <= 0 || p.SweptBoost <= 0 || p.SweptDrive <= 0 {
		return 0
	}
	return math.Pi/4*p.SupplyBore*p.SupplyBore*p.SupplyLength + 2*(p.SweptBoost+p.SweptDrive)
}
