package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	frozenAfter  = 30 * station.Second
	belowAfter   = 20 * station.Second  // of standing, all told
	countedShut  = 6                    // strokes without inlet pressure that speak against its sensor
	strokesStill = 10                   // strokes during which no working sensor stands still
	curedAfter   = 10 * station.Second  // of plausible readings that end a doubt
	belowCured   = station.Minute60     // of those that end a doubt of an outlet below the inlet
	offsetCured  = 5 * station.Minute60 // of standing with another rest that end a doubt of an offset
	levelChanged = 1.1                  // times what it read that an inlet reads which was mended
)

// who is the sensors whose readings are not believed.
type who = station.Sides

const (
	inletDoubted  = station.InletSide
	outletDoubted = station.OutletSide
	bothDoubted   = station.BothSides
)

// suspicion is what is held against a sensor until its readings are plausible again. The
// greater ones say more, and replace the lesser.
type suspicion uint8

const (
	noSuspicion suspicion = iota
	below                 // the outlet reads below a fed inlet
	noInlet               // the inlet reads near atmosphere although the booster works
	outOfReach            // the inlet reads too low for what the booster reaches
	vacuum                // a reading far below atmosphere
	jumped                // a step that no tank and no header makes
	zeroOff               // a reading that rests beside zero while vented
	wrongUnit
	exchanged
)

// doubt follows whether the pressure sensors can be believed. A fault of a sensor must
// not become a fault of the machine: while one is doubted, the station is blind and says
// why, its reading is unknown to the alarms, and nothing is learned from it. Fields are
// exported for snapshots only.
type doubt struct {
	Inlet, Outlet still
	InClip        clip
	OutClip       clip
	Below         int64 // ns of standing in which the outlet read below the inlet
	BelowFrom     station.Instant
	ShutStrokes   int // counted since the inlet alone told that the supply is closed
	Held          held
	Jump          jumps
	Range         ranges
	Zero          zeros

	Reason station.StateReason
	Told   string // of a reading that is not believed, in words
	Who    who
	Top    float64         // highest reading that tells of the supply since the doubt began, Pa gauge
	Back   station.Instant // that reading is back since, 0: it is not
	Past   [2]supplyLevels // a minute ago and two
	PastAt station.Instant
	Kept   supplyLevels // while the inlet is doubted
}

// supplyLevels are what is remembered of the inlet.
type supplyLevels struct{ Rest, Peak float64 }

// held is a suspicion that holds until it is cured.
type held struct {
	Is     suspicion
	Who    who
	Reason station.StateReason
	Since  station.Instant // when the fault is taken to have begun
	Cured  int64           // ns of plausible readings
	Off    float64         // by how much the sensor reads too high, Pa, 0: not known
	Level  float64         // what it read when the suspicion was taken up, Pa gauge
	Slots  int             // for which it has stood still there
}

// hold takes up a suspicion unless one that says more is held.
func (h *held) hold(is suspicion, w who, since station.Instant, reason station.StateReason) {
	if is <= h.Is {
		return
	}
	if h.Is != noSuspicion {
		since = min(since, h.Since)
	}
	*h = held{Is: is, Who: w, Reason: reason, Since: since}
}

// still follows for how long a reading has not changed by one step.
type still struct {
	Value   float64
	For     int64 // ns
	Strokes int
	Noise   float64 // of the readings when they last moved, Pa
	Step    float64 // the sensor's resolution: the least change from sample to sample, Pa, 0: not known
	Looks   int     // slots that moved
}

// slot handles a slot's readings and reports whether the sensor stands still: a sensor with noise of its own
// beyond its resolution never does, another one does not while strokes are counted that move it. Near
// atmosphere many sensors show exactly nothing.
func (s *still) slot(l *level, d *stroke.Trace, moves float64, strokes int) bool {
	if l.N == 0 {
		return false
	}
	if l.High != l.Low || l.Mean != s.Value {
		*s = still{Value: l.Mean, Noise: d.NoiseRaw, Step: s.resolution(l, d), Looks: s.Looks + 1}
		return false
	}
	s.For += slotLen
	s.Strokes += strokes
	noisy := s.Noise > 2*max(quantumNoise, s.Step/math.Sqrt(12)) && math.Abs(l.Mean) > vented
	moved := s.Strokes >= strokesStill && (moves == 0 || moves > 2*s.Step)
	return s.For >= frozenAfter && (noisy || moved)
}

// Slots that are looked at for the sensor's resolution: the first ones, then some.
const (
	firstLooks = 60
	laterLooks = 16
)

// resolution returns the least change from sample to sample that has been seen, Pa.
func (s *still) resolution(l *level, d *stroke.Trace) float64 {
	least := s.Step
	if s.Looks > firstLooks && s.Looks%laterLooks != 0 {
		return least
	}
	for n := max(d.N-int64(l.N), d.From+4); n < d.N-2; n++ {
		if by, ok := d.Edge(n); ok && math.Abs(by) > 1.5 && (least == 0 || math.Abs(by) < least) { // traces are kept in whole Pa
			least = math.Abs(by)
		}
	}
	return least
}

// quantumNoise is the noise that steps of 0.1 kPa alone make, Pa.
const quantumNoise = 30.0

// doubtSensors looks at the slot that ended.
func (e *Engine) doubtSensors(end station.Instant) {
	d := &e.Doubt
	in := d.Inlet.slot(&e.Inlet, &e.Ends.In, d.InClip.Range, e.Act.Strokes)
	out := d.Outlet.slot(&e.Outlet, &e.Ends.Out, d.OutClip.Range, e.Act.Strokes)
	inTop := d.InClip.slot(&e.Inlet, &d.Inlet, &e.Ends.In)
	outTop := d.OutClip.slot(&e.Outlet, &d.Outlet, &e.Ends.Out)
	e.watchJumps(end)
	e.watchRanges(end)
	e.doubtInlet(end)
	e.doubtBelow(end)
	e.doubtVacuum(end)
	e.watchZeros(end)
	e.cure()
	switch {
	case inTop:
		e.suspect(station.StateReason{Is: station.SensorSaturated, Sides: inletDoubted}, inletDoubted, d.InClip.Since, end)
	case outTop:
		e.suspect(station.StateReason{Is: station.SensorSaturated, Sides: outletDoubted}, outletDoubted, d.OutClip.Since, end)
	case in:
		e.suspect(d.InClip.whyStill(inletDoubted, d.Inlet.Value), inletDoubted, end.Add(-d.Inlet.For), end)
	case out:
		e.suspect(d.OutClip.whyStill(outletDoubted, d.Outlet.Value), outletDoubted, end.Add(-d.Outlet.For), end)
	case d.Held.Is != noSuspicion:
		e.suspect(d.Held.Reason, d.Held.Who, d.Held.Since, end)
	default:
		e.trust(end)
	}
}

// doubtInlet doubts an inlet that tells a closed supply while the booster goes on: strokes
// are counted, or the outlet climbs to the same height again and again.
func (e *Engine) doubtInlet(end station.Instant) {
	d := &e.Doubt
	if e.State.ShutdownAt == 0 || e.State.ShutdownBy != station.ByInlet {
		d.ShutStrokes = 0
		return
	}
	if e.Inlet.Mean > 30e3 || d.Held.Is >= noInlet {
		return
	}
	if e.Fuse.CounterServes() {
		d.ShutStrokes += e.Act.Strokes
	}
	if d.ShutStrokes >= countedShut {
		d.Held.hold(noInlet, inletDoubted, e.State.ShutdownAt, e.whyNoInlet(station.InletFlatCounted))
	} else if c := &d.Range.Climb; c.First > nearZero && c.since(e.State.ShutdownAt) { // what a sensor wanders by at a vented line is none
		d.Held.hold(noInlet, inletDoubted, e.State.ShutdownAt, e.whyNoInlet(station.InletFlatPumped))
	}
}

// whyNoInlet adds the unit that explains the inlet, if one does.
func (e *Engine) whyNoInlet(is station.ReasonKind) station.StateReason {
	r := station.StateReason{Is: is, Sides: inletDoubted}
	if f := e.inletUnit(); f != nil {
		r.Mistake = f.is
	}
	return r
}

// doubtBelow doubts an outlet that reads below a fed inlet while nothing moves: the check
// valves would let the air through.
func (e *Engine) doubtBelow(end station.Instant) {
	d := &e.Doubt
	if e.Inlet.N == 0 || e.Outlet.N == 0 {
		return
	}
	p1, p2 := e.Inlet.Mean, e.Outlet.Mean
	switch {
	case p2 >= p1-max(30e3, 0.05*p1) || p1 < 100e3 || e.State.ShutdownAt != 0 || e.Falls.Reached && e.Fuse.CounterServes() && e.strokesOn(end):
		d.Below = 0
	case e.Act.Strokes == 0 && e.Inlet.High-e.Inlet.Low < max(8*e.Ends.In.Noise(), 0.003*p1) &&
		math.Abs(e.Outlet.slope()) < 1e3+4*e.Ends.Out.Noise() && (e.Supply.Rest == 0 || p1 > 0.97*e.Supply.Rest):
		if d.Below == 0 {
			d.BelowFrom = end
		}
		d.Below += slotLen
	}
	if d.Below >= belowAfter && d.Held.Is < below {
		is, who, why := e.whyBelow()
		d.Held.hold(is, who, d.BelowFrom, why)
	}
}

// whyBelow returns what an outlet below the inlet may mean.
func (e *Engine) whyBelow() (suspicion, who, station.StateReason) {
	p1, p2, set := e.Inlet.Mean, e.Outlet.Mean, e.set()
	if e.Plate.Set > 0 {
		if f := unitOf(p2, set, 0.88, 1.12); f != nil {
			return wrongUnit, outletDoubted, f.of(outletDoubted)
		}
	}
	ratio := e.Plate.AreaRatio
	if ratio <= 0 {
		ratio = 1
	}
	if e.Plate.Set > 0 && math.Abs(p1/set-1) < 0.12 || e.Plate.Set == 0 && p1 > 1.15*p2 && p1 < (1+ratio)*p2 {
		return exchanged, bothDoubted, station.StateReason{Is: station.LooksExchanged, Sides: bothDoubted}
	}
	return below, bothDoubted, station.StateReason{Is: station.OutletBelowInlet, Sides: bothDoubted}
}

// deepest is how far below atmosphere a reading may be: a sensor's zero error, Pa.
const deepest = 15e3

// doubtVacuum doubts a reading that only a pump could make.
func (e *Engine) doubtVacuum(end station.Instant) {
	h := &e.Doubt.Held
	for _, c := range [...]struct {
		l *level
		w who
	}{{&e.Inlet, inletDoubted}, {&e.Outlet, outletDoubted}} {
		m := c.l.Mean
		if c.l.N == 0 || m >= -deepest || c.l.Before >= -deepest {
			continue
		}
		if h.Is < vacuum {
			h.hold(vacuum, c.w, end, station.StateReason{Is: station.FarBelowAtmosphere, Sides: c.w})
		}
		if h.Is == vacuum && h.Who == c.w {
			h.vacuumAt(m)
		}
	}
}

// vacuumRests is for how many slots a reading below atmosphere must stand still to be an offset: a
// glitch of the wire is over sooner (common practice, no source).
const vacuumRests = 4

// vacuumAt handles a reading far below atmosphere: an offset where it stands still, else a broken wire,
// whose readings are plausible as soon as they are back.
func (h *held) vacuumAt(m float64) {
	if math.Abs(m-h.Level) > 2e3 {
		h.Level, h.Slots = m, 0
	}
	h.Slots++
	switch {
	case m < -ventedAtMost:
		h.Off = 0
	case h.Slots >= vacuumRests:
		h.Off = min(h.Off, m)
	}
}

// cure ends a suspicion once readings have been plausible for a while. An offset gives
// plausible readings as soon as the station is charged: only a step back or a vented moment
// ends that doubt.
func (e *Engine) cure() {
	h := &e.Doubt.Held
	if h.Is == noSuspicion || h.Is == jumped || e.Inlet.N == 0 || e.Outlet.N == 0 {
		return
	}
	if h.Off != 0 {
		e.cureOffset(h)
		return
	}
	if h.Is == zeroOff {
		return
	}
	if !e.plausible(h.Is) {
		h.Cured = 0
		return
	}
	if h.Cured += slotLen; h.Cured >= h.curedAfter() {
		e.Doubt.clear()
	}
}

// cureOffset ends a doubt of the inlet's offset where its resting reading has moved by just that,
// for a long stretch: it was mended while nobody saw the step.
func (e *Engine) cureOffset(h *held) {
	rest := e.Doubt.Kept.Rest
	if h.Who != inletDoubted || rest <= 0 || e.State.ShutdownAt != 0 || !e.standing(e.Slot.Add(slotLen)) || !e.calm() {
		return
	}
	near := func(p float64) bool { return math.Abs(e.Inlet.Mean-p) < 0.3*math.Abs(h.Off) }
	switch {
	case near(rest):
		h.Cured = 0
	case near(rest - h.Off):
		if h.Cured += slotLen; h.Cured >= offsetCured {
			e.Doubt.clear()
		}
	}
}

// curedAfter gives for how long, ns, readings must be plausible.
func (h *held) curedAfter() int64 {
	if h.Is == below {
		return belowCured
	}
	return curedAfter
}

// clear forgets what was held, and what led to it.
func (d *doubt) clear() {
	d.Held, d.Below, d.ShutStrokes = held{}, 0, 0
	d.Range.Match = match{}
	d.Jump.In.Found, d.Jump.Out.Found = 0, 0
}

// plausible tells whether the present readings speak against a suspicion. A station that is
// shut down never clears its sensors.
func (e *Engine) plausible(is suspicion) bool {
	p1, p2 := e.Inlet.Mean, e.Outlet.Mean
	fits := p1 > 100e3 && p2 >= p1-max(30e3, 0.05*p1)
	switch is {
	case noInlet:
		return p1 > 100e3
	case outOfReach: // by another inlet, not by an outlet that was drawn down
		return e.Plate.AreaRatio > 0 && p2 < p1*(1+e.Plate.AreaRatio) && p1 > levelChanged*e.Doubt.Held.Level
	case wrongUnit, exchanged:
		if set := float64(e.Plate.Set); set > 0 {
			low, high := e.inletRange()
			return fits && p2 > 0.5*set && p2 < 1.12*set && p1 > 0.8*low && p1 < high && (is == wrongUnit || p1 < 0.95*p2)
		}
	}
	return fits
}
