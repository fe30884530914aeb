package engine

import "strokewise/analyzer/station"

// wear counts the strokes of one booster since it was first watched. Wear belongs to the
// booster and not to the place: another serial number or date of overhaul begins anew. Fields
// are exported for snapshots only.
type wear struct {
	Serial, Overhauled string
	From               station.Instant // first slot with this booster, 0: none yet
	Strokes            int64
}

// wearFigure sets the cycles since the overhaul.
func (e *Engine) wearFigure(end station.Instant) {
	w, p := &e.Wear, &e.Plate
	if w.From == 0 || w.Serial != p.Serial || w.Overhauled != p.Overhauled {
		if w.From != 0 {
			e.Speed.Base = baseline{} // another booster, or a new one as it were
			*w = wear{}
		}
		w.Serial, w.Overhauled, w.From = p.Serial, p.Overhauled, max(e.First, end.Add(-slowEvery))
	}
	w.From = min(w.From, end) // the clock may have been set back
	if p.Serial == "" && p.Overhauled == "" {
		e.Est[station.CyclesSinceOverhaul] = station.Unknown("needs the booster's serial number or the date of its overhaul")
		return
	}
	m := station.MethodTraces
	if e.Fuse.CounterServes() {
		m = station.MethodCounter
	}
	e.Basis.Worn = w.Strokes
	e.Est[station.CyclesSinceOverhaul] = station.Estimate{Value: float64(w.Strokes / 2), Method: m, Confidence: 0.9, From: w.From, At: end}
}
