package engine

import "strokewise/analyzer/station"

// keeper moves values between what the engine works with and what is kept of it: one way to
// keep them, the other way back.
type keeper struct{ back bool }

// keep moves one value.
func keep[T any](k keeper, mine, kept *T) {
	if k.back {
		*mine = *kept
		return
	}
	*kept = *mine
}

// keepCount moves a count.
func keepCount(k keeper, mine *int, kept *int64) {
	if k.back {
		*mine = int(*kept)
		return
	}
	*kept = int64(*mine)
}

// keepList moves a list of fixed length. What a shorter list lacks stays.
func keepList[T any](k keeper, mine []T, kept *[]T) {
	if k.back {
		copy(mine, *kept)
		return
	}
	*kept = append((*kept)[:0], mine...)
}

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

// ofTheMoment are figures that only say how the station stands now: nothing of them is learned.
var ofTheMoment = [station.NumFigures]bool{
	station.HeaderStatic: true, station.Load: true, station.HighestRate: true, station.FreeCapacity: true,
	station.StartsHour: true, station.StartsShort: true, station.ReliefPops: true, station.PopPressure: true,
	station.OutletDraw: true, station.DrawOverUsual: true, station.DrawFloor: true, station.StoredEnergy: true,
	station.InletNoise: true, station.OutletNoise: true, station.CountExcess: true,
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

// recalled reports whether a figure stands as it was recalled.
func (e *Engine) recalled(f station.Figure) bool {
	g := &e.Est[f]
	return e.Basis.Recalled != 0 && g.Known() && !ofTheMoment[f] && g.Method != station.MethodPlate && g.At <= e.Basis.Recalled
}

// keep moves the strokes of the booster.
func (w *wear) keep(k keeper, l *station.LearnedBooster) {
	if k.back && l.WatchedFrom == 0 {
		return
	}
	keep(k, &w.Serial, &l.Serial)
	keep(k, &w.Overhauled, &l.Overhauled)
	keep(k, &w.From, &l.WatchedFrom)
	keep(k, &w.Strokes, &l.Strokes)
}

// keep moves a usual value, with the open block of readings.
func (b *baseline) keep(k keeper, l *station.Baseline) {
	if k.back && l.Blocks == 0 && len(l.Readings) == 0 {
		return
	}
	keep(k, &b.Recent, &l.Recent)
	keep(k, &b.Usual, &l.Usual)
	keepCount(k, &b.Blocks, &l.Blocks)
	keep(k, &b.From, &l.From)
	keep(k, &b.Next, &l.Next)
	if k.back {
		b.N = copy(b.Ring[:baselineRing-1], l.Readings)
		return
	}
	l.Readings = append(l.Readings[:0], b.Ring[:b.N]...)
}
