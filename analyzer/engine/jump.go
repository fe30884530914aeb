package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	leastJump  = 12e3                       // Pa: an offset of 15 kPa stands out of it with its noise
	jumpStep   = 150 * station.Second / 1e3 // longest time between samples that shows a jump
	noisyJump  = 6                          // times the noise since that a step is, to be none of it
	jumpHolds  = 2                          // slots for which a reading must keep its new level
	jumpWaits  = 5 * station.Minute60       // for the piston to stand
	jumpSoon   = 15 * station.Second        // in which levels that had not moved for minutes do so by a step
	jumpVotes  = 4                          // slots at rest that decide
	jumpSlack  = 0.3                        // share of a step by which levels may differ from it
	beyondGulp = 1.5                        // times the largest edge of the working piston that a step is (no source)
	topsAgree  = 3                          // minutes whose tops are as before the jump, to believe again
	fewSamples = 4                          // a slot, to see a jump
)

// jumps looks for steps of a reading within one sample. A step alone proves nothing:
//
//   - The piston's gulp steps the inlet. When a chamber of dead volume V_d at p_d opens towards the
//     hose of volume V_h, the pressures meet at (p1 V_h + p_d V_d)/(V_h + V_d), within some ms.
//   - A consumer of conductance C steps the outlet by kappa p0 C p2 dt/V in a sample of dt, where V is
//     the volume that the sensor shares with it: C = 30 dm³/(s·bar), a 1 inch valve, makes 12 kPa in 10 ms
//     in 30 L, and in 1 L within 0.3 ms. A sensor before a hose also sees the hose's drop come and go.
//   - A booster that starts steps a sensor at its port by the drop over the hose to the tank, several kPa.
//
// What none of them does is to move the levels at which the readings rest while the piston stands: the
// header's band at the inlet, cut-in to cut-out of the governor at the outlet. So a step is held against
// a sensor only if it is larger than those that the piston makes, and the levels afterwards lie where
// those of the last five to ten minutes lay, moved by just that step. Exempt are steps that no air makes: to a
// unit's share, to what the other sensor read, to atmosphere at once. Fields are exported for snapshots only.
type jumps struct {
	In, Out jump
	Tops    tops
}

// jump is a step that waits to be judged, or that was found (Found).
type jump struct {
	At       station.Instant // 0: none
	By       float64         // Pa
	From, To float64         // levels of three samples before and behind, Pa gauge
	Slots    int
	Yes, No  int
	Quiet    float64         // least noise of the slots since, Pa
	Found    float64         // size of the step that is held against the sensor, Pa
	FoundAt  station.Instant // when it came
	Together station.Instant // when both readings last jumped at once

	Levels band            // at which the reading rests, of late
	Before span            // of the levels when the step that waits came
	Kept   span            // of the levels before the step that is held
	Since  band            // of the levels since that
	Edges  band            // of samples while the piston works, Pa
	Gulp   float64         // largest of them before the step that waits, Pa
	Rested station.Instant // when the reading last rested
	Was    station.Instant // when it last rested before the step that waits
}

// tops follows the highest level of the outlet minute by minute: the governor ends each run
// at the same one.
type tops struct {
	Usual float64 // Pa gauge, 0: not known
	N     int
	High  float64 // of the open minute
	Stood int     // slots of it in which the piston stood
	Min   station.Instant
	Same  int     // minutes in a row at the usual level since a jump
	Next  float64 // the newest minute's, not yet part of Usual: a step in it is found later
}

// usual adds a minute's highest level.
func (t *tops) usual(high float64) {
	if last := t.Next; last > 0 {
		if t.N++; t.N == 1 {
			t.Usual = last
		}
		t.Usual += 0.3 * (last - t.Usual)
	}
	t.Next = high
}

// watchJumps looks at the slot that ended.
func (e *Engine) watchJumps(end station.Instant) {
	j := &e.Doubt.Jump
	rests := e.standing(end) && e.calm() && e.State.ShutdownAt == 0
	in := j.In.search(&e.Inlet, &e.Ends.In, leastJump, 0.1)
	out := e.Plate.Sensor != station.AtBranch && j.Out.search(&e.Outlet, &e.Ends.Out, e.outletLeast(), 0.3)
	if (in || out) && j.In.At != 0 && j.Out.At != 0 && abs(j.In.At.Sub(j.Out.At)) <= int64(2e9*e.Ends.Out.Step)+1 {
		j.In.Together, j.Out.Together = j.In.At, j.Out.At
	}
	j.In.edges(&e.Inlet, &e.Ends.In, rests, end)
	j.Out.edges(&e.Outlet, &e.Ends.Out, rests, end)
	e.judgeOutlet(rests, end)
	e.judgeInlet(rests, end)
	j.In.level(&e.Inlet, rests && e.Inlet.Mean > 30e3, end)
	j.Out.level(&e.Outlet, rests && e.outletRests(), end)
	e.watchTops(end)
	e.watchInletLevels()
}

// outletRests reports whether the outlet does not move from slot to slot.
func (e *Engine) outletRests() bool {
	return e.Outlet.Mean > 100e3 && math.Abs(e.Outlet.slope()) < 2e3+4*e.Ends.Out.Noise()
}

func abs(x int64) int64 { return max(x, -x) }

// outletLeast gives the least step of the outlet that is no tooth, Pa: beyond what a stroke
// may raise a small tank by within a sample, without losing heat. It delivers for two fifths
// of its time at least (from memory).
func (e *Engine) outletLeast() float64 {
	least := max(leastJump, 2*e.Health.Ripple)
	if v := e.Plate.TankVolume; v > 0 {
		usual := e.Fuse.Interval.Quartile()
		if usual == 0 || e.Ends.Lift > 0 { // into a small tank the piston leaps, and then waits
			usual = int64(station.Second / stroke.MaxRate)
		}
		share := min(1, 2.5*e.Ends.Out.Step/(float64(usual)*1e-9))
		least = max(least, 1.5*1.4*share*e.Plate.SweptBoost*max(0, e.Inlet.Mean+100e3)/v)
	}
	return least
}

// search looks at the samples that the slot brought, each with two behind it. around is the
// share of the step that changes before and behind it may have.
func (j *jump) search(l *level, d *stroke.Trace, least, around float64) bool {
	if l.N < fewSamples || l.High-l.Low < leastJump && math.Abs(l.Mean-l.Before) < leastJump/4 {
		return false
	}
	noise := d.Noise()
	least = max(least, 8*noise)
	best := 0.0
	for n := d.N - int64(l.N) - 2; n+2 < d.N; n++ {
		by, ok := d.Edge(n)
		if !ok || math.Abs(by) < least || math.Abs(by) <= math.Abs(best) {
			continue
		}
		if rest := d.Around(n); rest > around*math.Abs(by)+4*noise || d.Gap(n) > jumpStep {
			continue
		}
		best = by
		if found := (jump{At: d.TimeOf(n), From: d.Level(n-3, n), To: d.Level(n, n+3)}); !j.wait(&found) {
			best = 0
		}
	}
	return best != 0
}

// wait lets a step wait to be judged. One back to where the waiting one came from cancels both:
// a disturbance; a lesser one, such as a gulp, does not displace it.
func (j *jump) wait(n *jump) bool {
	n.By = n.To - n.From
	switch {
	case j.At != 0 && math.Abs(n.By+j.By) < jumpSlack*math.Abs(j.By):
		j.At = 0
		return false
	case j.At != 0 && math.Abs(n.By) < math.Abs(j.By):
		return false
	}
	j.At, j.By, j.From, j.To, j.Slots, j.Yes, j.No, j.Quiet = n.At, n.By, n.From, n.To, 0, 0, 0, math.Inf(1)
	if j.Before = j.Levels.all(); j.Found != 0 {
		j.Before = j.Kept.moved(j.Found)
	}
	j.Gulp, j.Was = j.Edges.all().High, j.Rested
	return true
}

// holds reports whether a step that waits has kept its new level for long enough to be judged, and drops
// one that came back or that noise explains.
func (j *jump) holds(l *level, noise float64) bool {
	if j.At == 0 || l.N == 0 {
		return false
	}
	if j.Slots++; j.Slots > 1 { // its own slot is not quiet
		j.Quiet = min(j.Quiet, noise)
	}
	if j.Slots == jumpHolds+1 && ((l.Mean-j.From)/j.By < 0.25 || math.Abs(j.By) < noisyJump*j.Quiet) {
		j.At = 0
	}
	return j.Slots > jumpHolds && j.At != 0
}

// moved counts a slot at rest as a vote, and reports whether the levels have moved by the step.
func (j *jump) moved(m float64) bool {
	if !j.Before.Known {
		return false
	}
	slack := jumpSlack*math.Abs(j.By) + 2e3
	was, is := j.Before.has(m, slack), j.Before.moved(j.By).has(m, slack)
	switch {
	case is && !was:
		j.Yes, j.No = j.Yes+1, 0
	case was && !is:
		j.Yes, j.No = 0, j.No+1
	}
	if j.No >= jumpVotes {
		j.At = 0
	}
	return j.Yes >= jumpVotes
}

// stands reports whether a step is worth a vote: it mends what is held, it is larger than those that the
// piston makes, or levels that had not moved by half of it for
// minutes have moved within seconds.
func (j *jump) stands(end station.Instant) bool {
	steady := j.Before.High-j.Before.Low < math.Abs(j.By)/2 && end.Sub(j.Was) < jumpSoon
	return j.mends() || steady || math.Abs(j.By) >= beyondGulp*j.Gulp
}

// mends reports whether the step is the one back that ends a doubt.
func (j *jump) mends() bool {
	return j.Found != 0 && math.Abs(j.By+j.Found) < jumpSlack*math.Abs(j.Found)
}

// judgeOutlet handles a step of the outlet once it is known for no work of air.
func (e *Engine) judgeOutlet(rests bool, end station.Instant) {
	j := &e.Doubt.Jump.Out
	if !j.holds(&e.Outlet, e.Ends.Out.NoiseNow) {
		return
	}
	at, h := j.At, &e.Doubt.Held
	gross := j.Together == at && e.together() || j.From > 100e3 && (ratioUnit(j.To/j.From) != nil || e.Outlet.Mean < vented)
	back := h.Off != 0 && h.Who == outletDoubted && math.Abs(j.By) > beyondGulp*j.Gulp && math.Abs(j.By+h.Off) < jumpSlack*math.Abs(h.Off)
	switch {
	case j.Slots == jumpHolds+1 && (gross || back):
	case end.Sub(at) > jumpWaits:
		j.At = 0
		return
	case !rests || !e.outletRests() || !j.stands(end) || !j.moved(e.Outlet.Mean):
		return
	}
	j.At = 0
	e.stepFound(j, at, &e.Outlet, outletDoubted)
}

// judgeInlet handles a step of the inlet if the levels at which it rests have moved by just that, or if
// it is so large that no header makes it.
func (e *Engine) judgeInlet(rests bool, end station.Instant) {
	j := &e.Doubt.Jump.In
	if !j.holds(&e.Inlet, 0) {
		return
	}
	at, m := j.At, e.Inlet.Mean
	together := j.Together == at && e.Doubt.Held.Is >= jumped && e.Doubt.Held.Who&outletDoubted != 0
	scaled := j.From > 100e3 && m > 30e3 && ratioUnit(m/j.From) != nil && math.Abs(m-e.Inlet.Before) < 0.02*m
	switch {
	case together || scaled:
	case e.fedByHeader(end) && e.Hdr.RestAt != 0:
		j.At = 0 // the header made it
		return
	case m < 30e3 || end.Sub(at) > jumpWaits:
		j.At = 0 // a supply that was dumped, or nothing to judge it by
		return
	case !rests || !j.stands(end) || !j.moved(m):
		return
	}
	j.At = 0
	e.stepFound(j, at, &e.Inlet, inletDoubted)
}

// together reports whether both readings jumped to what the other one read, or to the same share.
func (e *Engine) together() bool {
	a, b := &e.Doubt.Jump.Out, &e.Doubt.Jump.In
	if a.From < 100e3 || b.From < 100e3 {
		return false
	}
	if math.Abs(a.To-b.From) < 0.1*b.From && math.Abs(b.To-a.From) < 0.1*a.From {
		return true
	}
	f := ratioUnit(a.To / a.From)
	return f != nil && ratioUnit(b.To/b.From) == f
}

// standing tells whether no stroke has shown lately.
func (e *Engine) standing(end station.Instant) bool {
	return end.Sub(max(e.Act.LastTooth, e.Fuse.LastAt)) >= e.standsAfter()
}

// stepFound handles a step that is held against a sensor, or one back that mends it.
func (e *Engine) stepFound(j *jump, at station.Instant, l *level, w who) {
	h := &e.Doubt.Held
	if h.Off != 0 && h.Who == w && math.Abs(j.By+h.Off) < 0.3*math.Abs(h.Off) {
		e.Doubt.clear() // it was mended
		return
	}
	if j.Found != 0 && math.Abs(j.By+j.Found) < 0.3*math.Abs(j.Found) {
		j.Found = 0
		if h.Is != noSuspicion && h.Who&^w == 0 {
			e.Doubt.clear()
		}
		return
	}
	if j.Found != 0 {
		j.By += j.Found
	}
	if j.Found == 0 {
		j.Kept = j.Before
	}
	j.Found, j.FoundAt, j.Since = j.By, at, band{}
	t := &e.Doubt.Jump.Tops
	t.Same, t.Next, t.High = 0, 0, 0
	is, w, why := e.whyJump(j, at, l, w)
	h.hold(is, w, at, why)
}

// whyJump returns what a step may mean.
func (e *Engine) whyJump(j *jump, at station.Instant, l *level, w who) (suspicion, who, station.StateReason) {
	o := &e.Doubt.Jump.In
	if w == inletDoubted {
		o = &e.Doubt.Jump.Out
	}
	if j.Together == at {
		if a, b := j.To, o.To; math.Abs(a-o.From) < 0.1*o.From && math.Abs(b-j.From) < 0.1*j.From {
			return exchanged, bothDoubted, station.StateReason{Is: station.ExchangedAtOnce, Sides: bothDoubted}
		}
		if j.From > 100e3 && o.From > 100e3 {
			if f := ratioUnit(j.To / j.From); f != nil && ratioUnit(o.To/o.From) == f {
				return wrongUnit, bothDoubted, station.StateReason{Is: station.UnitsStepped, Sides: bothDoubted, Mistake: f.is}
			}
		}
	}
	if j.From > 100e3 {
		if f := ratioUnit(j.To / j.From); f != nil {
			return wrongUnit, w, station.StateReason{Is: station.UnitStepped, Sides: w, Mistake: f.is}
		}
	}
	if l.Mean < vented && j.From > 100e3 {
		return jumped, w, station.StateReason{Is: station.ReadingLost, Sides: w}
	}
	return jumped, w, station.StateReason{Is: station.ReadingStepped, Sides: w, Value: j.Found, At: at}
}

// watchTops believes in an outlet again whose runs end where they did before the step: then
// it was mended, or no fault of the sensor.
func (e *Engine) watchTops(end station.Instant) {
	t, h := &e.Doubt.Jump.Tops, &e.Doubt.Held
	if e.Outlet.N > 0 {
		t.High = max(t.High, e.Outlet.Mean)
	}
	if e.standing(end) && e.State.ShutdownAt == 0 {
		t.Stood++
	}
	if end.Sub(t.Min) < station.Minute60 {
		return
	}
	high, stood := t.High, t.Stood
	t.High, t.Stood, t.Min = 0, 0, end
	found := &e.Doubt.Jump.Out
	switch {
	case stood < 10 || high < 100e3:
	case found.Found == 0 || e.Doubt.Who&outletDoubted == 0:
		t.usual(high)
	case h.Is == jumped && h.Who == outletDoubted && t.N >= 2:
		if math.Abs(high-t.Usual) > 0.3*math.Abs(found.Found) {
			t.Same = 0
		} else if t.Same++; t.Same >= topsAgree {
			found.Found = 0
			e.Doubt.clear()
		}
	}
}
