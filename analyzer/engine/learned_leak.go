package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// keepLeak moves the leak and its history.
func (e *Engine) keepLeak(k keeper, l *station.LearnedLeak) {
	e.Mix.keep(k, l)
	e.Past.keep(k, l)
	e.Floor5.keep(k, l)
}

// keep moves what decay and make-up last told.
func (m *leakMix) keep(k keeper, l *station.LearnedLeak) {
	if k.back && l.Decay.At == 0 && l.Makeup.At == 0 {
		return
	}
	keepEstimate(k, &m.Decay, &l.Decay)
	keepEstimate(k, &m.Makeup, &l.Makeup)
	keepEstimate(k, &m.Joined, &l.Joined)
	keep(k, &m.Less, &l.Less)
	keep(k, &m.Inside, &l.Inside)
	if !k.back {
		l.Shape = int64(m.Shape)
	} else if l.Shape >= 0 && l.Shape <= int64(air.ShapeStraight) {
		m.Shape = air.Shape(l.Shape)
	}
}

// keepEstimate moves an estimate that has no name; one that is not known is kept as none.
func keepEstimate(k keeper, mine *station.Estimate, kept *station.LearnedFigure) {
	switch {
	case k.back:
		*mine = kept.Estimate()
	case mine.Known():
		kept.Set("", mine)
	default:
		*kept = station.LearnedFigure{}
	}
}

// keep moves the earlier leaks.
func (h *leakPast) keep(k keeper, l *station.LearnedLeak) {
	if !k.back {
		l.Taken, l.Onset, l.Past = h.Taken, h.Onset, l.Past[:0]
		for _, p := range h.Points[:h.N] {
			l.Past = append(l.Past, station.LeakPoint{At: p.At, Value: float64(p.C), Sigma: float64(p.Err)})
		}
		return
	}
	if len(l.Past) == 0 {
		return
	}
	*h = leakPast{Taken: l.Taken, Onset: l.Onset}
	for _, p := range l.Past[max(0, len(l.Past)-pastMost):] {
		h.add(leakPoint{At: p.At, C: float32(p.Value), Err: float32(p.Sigma)})
	}
}

// keep moves the bounds of the last hours.
func (f *leakFloor) keep(k keeper, l *station.LearnedLeak) {
	if !k.back {
		l.Hours = l.Hours[:0]
		for _, h := range f.Hours {
			if h.At != 0 {
				l.Hours = append(l.Hours, station.LeakHour{Hour: h.Hour, At: h.At, Flow: h.Flow, Stored: h.Stored, Missed: h.Missed, Stood: h.Stood})
			}
		}
		return
	}
	for _, h := range l.Hours {
		at := &f.Hours[((h.Hour%floorHours)+floorHours)%floorHours]
		if h.At > at.At {
			*at = floorHour{Hour: h.Hour, At: h.At, Flow: h.Flow, Stored: h.Stored, Missed: h.Missed, Stood: h.Stood}
		}
	}
}

// keepDraw moves what the branch usually takes.
func (e *Engine) keepDraw(k keeper, l *station.LearnedDraw) {
	if f := &e.Falls; !k.back || l.Fed > 0 {
		keep(k, &f.Bare, &l.Bare)
		keep(k, &f.Top, &l.Top)
		keep(k, &f.Fed, &l.Fed)
	}
	if d := &e.LeastDraw; !k.back || l.FloorKnown > 0 {
		keep(k, &d.Usual, &l.Floor)
		keepCount(k, &d.Known, &l.FloorKnown)
		keepList(k, d.Part[:], &l.FloorParts)
		keep(k, &d.PartAt, &l.FloorPart)
	}
	if d := &e.Steady; !k.back || l.SteadySeen > 0 {
		keep(k, &d.Usual, &l.Steady)
		keep(k, &d.Peak, &l.SteadyPeak)
		keep(k, &d.Seen, &l.SteadySeen)
	}
}

// keep moves the zeros and the bounds of the outlet's offset.
func (z *zeros) keep(k keeper, l *station.LearnedSensors) {
	z.In.keep(k, &l.InletZero)
	z.Out.keep(k, &l.OutletZero)
	if o := &z.Offset; !k.back || l.OffsetDay > o.Day {
		keep(k, &o.Day, &l.OffsetDay)
		keep(k, &o.High, &l.OffsetHigh)
		keep(k, &o.Low, &l.OffsetLow)
		keep(k, &o.Seen, &l.HighSeen)
		keep(k, &o.LowSeen, &l.LowSeen)
		keep(k, &o.OldHigh, &l.BeforeHigh)
		keep(k, &o.OldLow, &l.BeforeLow)
		keep(k, &o.OldSeen, &l.HighBefore)
		keep(k, &o.OldLower, &l.LowBefore)
	}
}

// keep moves the first and the last zero of a sensor.
func (z *zero) keep(k keeper, l *station.LearnedZero) {
	if k.back && l.At < z.At {
		return
	}
	keep(k, &z.First, &l.First)
	keep(k, &z.At, &l.At)
	keep(k, &z.Earliest, &l.Earliest)
	keep(k, &z.Value, &l.Value)
}
