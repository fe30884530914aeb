package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	levelEvery = 2 * station.Second // between readings (own choice)
	levelTrust = 0.05               // share by which the plate's set pressure may differ from what the gauge shows (own choice, no source)
	nearStall  = 0.93               // share of the reach without friction above which a run may end by stall (own choice, no source)
)

// setLevel follows at which outlet the governor ends runs: whether the set pressure was
// changed. Fields are exported for snapshots only.
type setLevel struct {
	Top     float64 // highest outlet of the present run, Pa gauge
	Strokes int     // of it
	Plate   float64 // set pressure of the plate that Base belongs to, Pa gauge
	Base    baseline
}

// watchSetLevel takes the slot that ended.
func (e *Engine) watchSetLevel(end station.Instant) {
	if e.Plate.Ungoverned {
		e.Est[station.SetShift] = station.Unknown(noGovernor)
		return
	}
	l, p2 := &e.Holds, e.Outlet.Mean
	if set := float64(e.Plate.Set); set != l.Plate {
		*l = setLevel{Plate: set}
	}
	switch st := e.State.Current; {
	case e.Outlet.N == 0 || e.State.ShutdownAt != 0 || st == station.Blind:
		l.Top, l.Strokes = 0, 0
	case st.Working():
		l.Top = max(l.Top, p2)
		l.Strokes += e.Act.Strokes
	case l.Strokes > 0:
		e.runEnded(end)
		l.Top, l.Strokes = 0, 0
	}
}

// runEnded takes the level of a run that the governor ended: the outlet stands near the top
// of the run, below what the forces allow.
func (e *Engine) runEnded(end station.Instant) {
	l := &e.Holds
	ideal := e.balance(e.Supply.Rest)
	if e.Outlet.Mean < 0.97*l.Top || e.Plate.AreaRatio > 0 && ideal > 0 && l.Top > nearStall*ideal {
		return
	}
	if !l.Base.put(l.Top, end, levelEvery) {
		return
	}
	s := &e.Supply
	if e.Plate.Set == 0 && s.LearnedSet > 0 && math.Abs(l.Base.Recent/s.LearnedSet-1) > 0.03 {
		s.LearnedSet = l.Base.Recent // it was turned down so far that standing looked starved
	}
	ref, conf := l.Base.Usual, 0.7
	switch {
	case l.Plate > 0 && math.Abs(ref/l.Plate-1) > levelTrust:
		ref = l.Plate
	case l.Base.Blocks < 2:
		return
	}
	e.Est[station.SetShift] = station.Estimate{Value: l.Base.Recent - ref, Method: station.MethodTrend, Confidence: conf, At: end}
}
