package engine

import "strokewise/analyzer/station"

// keep moves what the inlet has shown.
func (s *supply) keep(k keeper, l *station.LearnedSupply) {
	if !k.back || l.RestAt > s.RestAt {
		keep(k, &s.Rest, &l.Rest)
		keep(k, &s.RestAt, &l.RestAt)
	}
	if !k.back || l.Peak > s.Peak {
		keep(k, &s.Peak, &l.Peak)
	}
	if !k.back || l.Moves > 0 {
		keep(k, &s.Moved, &l.Moved)
		keep(k, &s.Moves, &l.Moves)
	}
	if !k.back || l.SagSeconds > 0 {
		keep(k, &s.SagSum, &l.Sag)
		keep(k, &s.SagWeight, &l.SagSeconds)
		keep(k, &s.Rested, &l.Rested)
	}
	s.Unrested.keep(k, l)
}

// formerly is the standard deviation of a conductance whose own is not known, share of it. Own choice: that
// of ten minutes' strokes. A third more or less changes how soon newer strokes replace it.
const formerly = 0.1

// keepLine moves the line's conductance.
func (e *Engine) keepLine(k keeper, l *station.LearnedSupply) {
	switch {
	case !k.back:
		l.Conductance, l.Deviation, l.Slew = e.Bal.Kept()
	case l.Conductance > 0 && l.Deviation > 0:
		e.Bal.Recall(l.Conductance, l.Deviation, l.Slew)
	case l.Conductance > 0:
		e.Bal.Recall(l.Conductance, formerly, l.Slew)
	}
}

// keep moves what runs usually look like.
func (u *unrested) keep(k keeper, l *station.LearnedSupply) {
	if !k.back || l.Swing > 0 {
		keep(k, &u.Usual, &l.Swing)
	}
	if v := &u.Even; !k.back || l.Runs > 0 {
		keep(k, &v.Inlet, &l.RunInlet)
		keep(k, &v.Flow, &l.RunFlow)
		keep(k, &v.Swing, &l.RunSwing)
		keep(k, &v.Wide, &l.RunWide)
		keepCount(k, &v.N, &l.Runs)
	}
}

// keep moves the two parts of the sag.
func (h *header) keep(k keeper, l *station.LearnedSupply) {
	if k.back && l.Seconds == 0 {
		return
	}
	keep(k, &h.Sag, &l.HeaderSag)
	keep(k, &h.Line, &l.LineSag)
	keep(k, &h.Weight, &l.Seconds)
}

// keep moves the line's usual value and its days.
func (n *line) keep(k keeper, l *station.LearnedLine) {
	n.Base.keep(k, &l.Base)
	if !k.back || len(l.Days) > 0 || l.Count > 0 {
		n.Daily.keep(k, l)
	}
}

// keep moves the means of the last days.
func (d *daily) keep(k keeper, l *station.LearnedLine) {
	today := int64(d.Now)
	keep(k, &today, &l.Today)
	keep(k, &d.Sum, &l.Sum)
	keepCount(k, &d.Cnt, &l.Count)
	if !k.back {
		l.Means, l.Days = append(l.Means[:0], d.Mean[:d.N]...), l.Days[:0]
		for _, day := range d.Day[:d.N] {
			l.Days = append(l.Days, int64(day))
		}
		return
	}
	d.Now = int32(today)
	d.N = copy(d.Mean[:], l.Means[:min(len(l.Means), len(l.Days))])
	for i := range d.N {
		d.Day[i] = int32(l.Days[i])
	}
}

// keepWork moves how booster and governor work.
func (e *Engine) keepWork(k keeper, l *station.LearnedWork) {
	e.Speed.Base.keep(k, &l.StrokeTime)
	if !k.back || e.Speed.Out == 0 {
		keep(k, &e.Speed.Out, &l.Outlet)
	}
	if r := &e.Reach; !k.back || l.InletAt > r.At {
		keep(k, &r.Dynamic, &l.Inlet)
		keep(k, &r.At, &l.InletAt)
	}
	if !k.back || l.Friction > 0 {
		keep(k, &e.Reach.Loss, &l.Friction)
	}
	if !k.back || l.Set > 0 {
		keep(k, &e.Supply.LearnedSet, &l.Set)
	}
	if !k.back || l.FastestStroke > 0 {
		keep(k, &e.Air.Fastest, &l.FastestStroke)
	}
	if !k.back || l.Ends.Blocks > 0 || len(l.Ends.Readings) > 0 {
		keep(k, &e.Holds.Plate, &l.PlateSet)
		e.Holds.Base.keep(k, &l.Ends)
	}
	e.State.Edge.keep(k, l)
}

// keep moves the governor's cut-in.
func (x *edges) keep(k keeper, l *station.LearnedWork) {
	if !k.back || l.CutIns > 0 {
		keep(k, &x.Limit, &l.CutIn)
		keepCount(k, &x.Starts, &l.CutIns)
	}
	if d := &x.Deep; !k.back || l.DeepCutIns > 0 {
		keep(k, &d.P, &l.DeepCutIn)
		keepCount(k, &d.N, &l.DeepCutIns)
		keep(k, &d.Known, &l.DeepKnown)
	}
}
