package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	frozenAfter  = 30 * station.Second
	belowAfter   = 20 * station.Second // of standing, all told
	countedShut  = 6                   // strokes without inlet pressure that speak against its sensor
	strokesStill = 10                  // strokes during which no working sensor stands still
)

// doubt follows whether the pressure sensors can be believed. A fault of a sensor must
// not become a fault of the machine: while one is doubted, the station is blind and says
// why. Fields are exported for snapshots only.
type doubt struct {
	Inlet, Outlet still
	Below         int64 // ns of standing in which the outlet read below the inlet
	ShutStrokes   int   // counted since the inlet alone told that the supply is closed
	NoInlet       bool  // the inlet reads near atmosphere although strokes are counted
	Reason        string
}

// still follows for how long a reading has not changed by one step.
type still struct {
	Value   float64
	For     int64 // ns
	Strokes int
	Noise   float64 // of the readings when they last moved, Pa
}

// slot takes a slot's readings and tells whether the sensor stands still: a sensor with
// noise of its own never does, another one does not while strokes are counted. Near
// atmosphere many sensors show exactly nothing.
func (s *still) slot(l *level, d *stroke.Trace, strokes int) bool {
	if l.N == 0 {
		return false
	}
	if l.High != l.Low || l.Mean != s.Value {
		*s = still{Value: l.Mean, Noise: d.NoiseRaw}
		return false
	}
	s.For += slotLen
	s.Strokes += strokes
	noisy := s.Noise > 2*quantumNoise && math.Abs(l.Mean) > vented
	return s.For >= frozenAfter && (noisy || s.Strokes >= strokesStill)
}

// quantumNoise is the noise that steps of 0.1 kPa alone make, Pa.
const quantumNoise = 30.0

// doubtSensors looks at the slot that ended.
func (e *Engine) doubtSensors() {
	d := &e.Doubt
	in, out := d.Inlet.slot(&e.Inlet, &e.Ends.In, e.Act.Strokes), d.Outlet.slot(&e.Outlet, &e.Ends.Out, e.Act.Strokes)
	e.doubtInlet()
	e.doubtBelow()
	d.Reason = ""
	switch {
	case in:
		d.Reason = "the inlet reading stands still: its sensor or gateway is frozen"
	case out:
		d.Reason = "the outlet reading stands still: its sensor or gateway is frozen"
	case d.NoInlet:
		d.Reason = "the inlet reads near atmosphere while strokes are counted: wrong unit, or a fault of its sensor"
	case d.Below >= belowAfter:
		d.Reason = e.whyBelow()
	}
}

// doubtInlet doubts an inlet that tells a closed supply while the counter goes on.
func (e *Engine) doubtInlet() {
	d := &e.Doubt
	if e.Inlet.N > 0 && e.Inlet.Mean > 30e3 {
		d.NoInlet = false
	}
	if e.State.ShutdownAt == 0 || e.State.ShutdownBy != "inlet" {
		d.ShutStrokes = 0
		return
	}
	if d.ShutStrokes += e.Act.Strokes; d.ShutStrokes >= countedShut && e.Inlet.Mean <= 30e3 {
		d.NoInlet = true
		e.State.ShutdownAt, e.State.ShutdownBy, e.State.LowSince = 0, "", 0
	}
}

// doubtBelow doubts an outlet that reads below a fed inlet while nothing moves: the check
// valves would let the air through.
func (e *Engine) doubtBelow() {
	d := &e.Doubt
	if e.Inlet.N == 0 || e.Outlet.N == 0 {
		return
	}
	p1, p2 := e.Inlet.Mean, e.Outlet.Mean
	switch {
	case p2 >= p1-math.Max(30e3, 0.05*p1) || p1 < 100e3 || e.State.ShutdownAt != 0:
		d.Below = 0
	case e.Act.Strokes == 0 && e.Inlet.High-e.Inlet.Low < math.Max(8*e.Ends.In.Noise(), 0.003*p1) &&
		math.Abs(e.Outlet.slope()) < 1e3+4*e.Ends.Out.Noise() && (e.Supply.Rest == 0 || p1 > 0.97*e.Supply.Rest):
		d.Below += slotLen
	}
}

// whyBelow says what an outlet below the inlet may mean.
func (e *Engine) whyBelow() string {
	p1, p2, set := e.Inlet.Mean, e.Outlet.Mean, float64(e.Plate.Set)
	near := func(x, y float64) bool { return y > 0 && math.Abs(x/y-1) < 0.12 }
	switch {
	case near(p2, set/100):
		return "the outlet reads a hundredth of the set pressure: a sensor in bar that is declared as kPa?"
	case near(p2, set/6.895):
		return "the outlet reads a seventh of the set pressure: a sensor in psi that is declared as kPa?"
	case near(p1, set):
		return "the inlet reads the set pressure and the outlet less: are the sensors exchanged?"
	}
	return "the outlet reads below the inlet although the check valves would let air through: a wrong unit, or a fault of a sensor"
}
