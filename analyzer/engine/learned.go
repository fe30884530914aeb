package engine

import "strokewise/analyzer/station"

// Learned sets l to what the engine has learned slowly. Slices of l are used again.
func (e *Engine) Learned(l *station.Learned) {
	l.At = e.status.At
	p := &e.Plate
	l.Booster.Tank, l.Booster.Branch = p.TankVolume, p.Sensor == station.AtBranch
	e.keepFigures(l)
	e.keepAll(keeper{}, l)
	if e.Wear.From == 0 {
		l.Booster.Serial, l.Booster.Overhauled = p.Serial, p.Overhauled
	}
}

// Recall replaces what the engine has learned by l. What l lacks stays as it is. The working state is
// untouched, so that it may be called between any two blocks. Where the plate has changed since, what belongs to
// the former booster or tank is dropped as it is by SetPlate.
func (e *Engine) Recall(l *station.Learned) {
	if l.At == 0 {
		return
	}
	now, b := e.Plate, &l.Booster
	e.Plate.Serial, e.Plate.Overhauled, e.Plate.TankVolume = b.Serial, b.Overhauled, b.Tank
	if b.Branch != (now.Sensor == station.AtBranch) {
		e.Plate.Sensor = station.AtTank
		if b.Branch {
			e.Plate.Sensor = station.AtBranch
		}
	}
	e.recallFigures(l)
	e.keepAll(keeper{back: true}, l)
	e.Supply.Unrested.Before = e.Supply.sums()
	e.Basis.Recalled = l.At
	e.SetPlate(now)
}

func (e *Engine) keepAll(k keeper, l *station.Learned) {
	e.Wear.keep(k, &l.Booster)
	e.Supply.keep(k, &l.Supply)
	e.keepLine(k, &l.Supply)
	e.Hdr.keep(k, &l.Supply)
	e.Line.keep(k, &l.Line)
	e.keepWork(k, &l.Work)
	e.Air.keep(k, &l.Air)
	e.Meter.keep(k, &l.Meter)
	e.Recharge.keep(k, &l.Delivery)
	e.keepLeak(k, &l.Leak)
	e.keepDraw(k, &l.Draw)
	e.Doubt.Zero.keep(k, &l.Sensors)
}

func (e *Engine) keepFigures(l *station.Learned) {
	l.Figures = l.Figures[:0]
	for f := range e.Est {
		if g := &e.Est[f]; g.Known() && !ofTheMoment[f] && g.Method != station.MethodPlate {
			l.Figures = append(l.Figures, station.LearnedFigure{})
			l.Figures[len(l.Figures)-1].Set(station.Figures[f].Name, g)
		}
	}
}

// recallFigures puts the figures that are newer than the engine's own in force, with their age.
func (e *Engine) recallFigures(l *station.Learned) {
	for i := range l.Figures {
		f, ok := station.FigureOf(l.Figures[i].Name)
		if !ok || ofTheMoment[f] || firstReasons[f] == "" {
			continue
		}
		if g := l.Figures[i].Estimate(); g.Known() && (!e.Est[f].Known() || e.Est[f].At <= g.At) {
			e.Est[f] = g
		}
	}
}
