package engine

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	leastJump  = 12e3                       // Pa: an offset of 15 kPa stands out of it with its noise
	jumpStep   = 150 * station.Second / 1e3 // longest time between samples that tells a jump
	noisyJump  = 6                          // times the noise since that a step is, to be none of it
	jumpHolds  = 2                          // slots for which the outlet must keep its new level
	jumpWaits  = 5 * station.Minute60       // for the inlet to rest
	jumpVotes  = 4                          // slots at rest that decide
	topsAgree  = 3                          // minutes whose tops are as before the jump, to believe again
	fewSamples = 4                          // a slot, to see a jump
)

// jumps looks for steps of a reading within one sample. The air of a tank cannot make one;
// at the inlet a gulp can, so there the resting pressure decides. Fields are exported for
// snapshots only.
type jumps struct {
	In, Out jump
	Tops    tops
}

// jump is a step that waits to be judged, or that was found (Held).
type jump struct {
	At       station.Instant // 0: none
	By       float64         // Pa
	From, To float64         // levels of three samples before and behind, Pa gauge
	Rest     float64         // resting inlet before, Pa gauge
	Slots    int
	Yes, No  int
	Quiet    float64         // least noise of the slots since, Pa
	Found    float64         // size of the step that is held against the sensor, Pa
	FoundAt  station.Instant // when it came
	Together station.Instant // when both readings last jumped at once
}

// tops follows the highest level of the outlet minute by minute: the governor ends each run
// at the same one.
type tops struct {
	Usual float64 // Pa gauge, 0: not known
	N     int
	High  float64 // of the open minute
	Stood int     // slots of it in which the piston stood
	Min   station.Instant
	Same  int // minutes in a row at the usual level since a jump
}

// watchJumps looks at the slot that ended.
func (e *Engine) watchJumps(end station.Instant) {
	j := &e.Doubt.Jump
	least := e.outletLeast()
	in := j.In.search(&e.Inlet, &e.Ends.In, leastJump, 0.1)
	out := e.Plate.Sensor != station.AtBranch && j.Out.search(&e.Outlet, &e.Ends.Out, least, 0.3)
	if in && j.In.Slots == 0 {
		j.In.Rest = e.Supply.Rest
	}
	if (in || out) && j.In.At != 0 && j.Out.At != 0 && abs(j.In.At.Sub(j.Out.At)) <= int64(2e9*e.Ends.Out.Step)+1 {
		j.In.Together, j.Out.Together = j.In.At, j.Out.At
	}
	e.judgeOutlet(end)
	e.judgeInlet(end)
	e.watchTops(end)
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
	case j.At != 0 && math.Abs(n.By+j.By) < 0.3*math.Abs(j.By):
		j.At = 0
		return false
	case j.At != 0 && math.Abs(n.By) < math.Abs(j.By):
		return false
	}
	j.At, j.By, j.From, j.To, j.Slots, j.Yes, j.No, j.Quiet = n.At, n.By, n.From, n.To, 0, 0, 0, math.Inf(1)
	return true
}

// judgeOutlet takes a step of the outlet whose new level holds.
func (e *Engine) judgeOutlet(end station.Instant) {
	j := &e.Doubt.Jump.Out
	if j.At == 0 || e.Outlet.N == 0 {
		return
	}
	if j.Slots++; j.Slots > 1 { // its own slot is not quiet
		j.Quiet = min(j.Quiet, e.Ends.Out.NoiseNow)
	}
	if j.Slots <= jumpHolds {
		return
	}
	at := j.At
	j.At = 0
	if (e.Outlet.Mean-j.From)/j.By < 0.25 || math.Abs(j.By) < noisyJump*j.Quiet {
		return // it came back, or the sensor has become noisy
	}
	e.stepFound(j, at, &e.Outlet, "outlet", outletDoubted)
}

// judgeInlet takes a step of the inlet if the inlet rests at another level afterwards, by
// just that step, or if it is so large that no header makes it.
func (e *Engine) judgeInlet(end station.Instant) {
	j := &e.Doubt.Jump.In
	if j.At == 0 || e.Inlet.N == 0 {
		return
	}
	j.Slots++
	if j.Slots <= jumpHolds {
		return
	}
	at, m := j.At, e.Inlet.Mean
	together := j.Together == at && e.Doubt.Held.Is >= jumped && e.Doubt.Held.Who&outletDoubted != 0
	scaled := j.From > 100e3 && m > 30e3 && ratioUnit(m/j.From) != nil && math.Abs(m-e.Inlet.Before) < 0.02*m
	mends := j.Found != 0 && math.Abs(j.By+j.Found) < 0.3*math.Abs(j.Found)
	switch {
	case together || scaled || mends:
	case e.fedByHeader(end) && e.Hdr.RestAt != 0:
		j.At = 0 // the header made it
		return
	case m < 30e3 || end.Sub(at) > jumpWaits || j.Rest == 0:
		j.At = 0 // a supply that was dumped, or nothing to tell it by
		return
	default:
		if !e.standing(end) || !e.calm() {
			return
		}
		switch off := m - j.Rest; {
		case math.Abs(off-j.By) < 0.3*math.Abs(j.By)+2e3 && math.Abs(off) > 0.6*leastJump:
			j.Yes, j.No = j.Yes+1, 0
		case math.Abs(off) < 0.3*math.Abs(j.By):
			j.Yes, j.No = 0, j.No+1
		}
		if j.No >= jumpVotes {
			j.At = 0
		}
		if j.Yes < jumpVotes {
			return
		}
	}
	j.At = 0
	e.stepFound(j, at, &e.Inlet, "inlet", inletDoubted)
}

// standing tells whether no stroke has shown lately.
func (e *Engine) standing(end station.Instant) bool {
	return end.Sub(max(e.Act.LastTooth, e.Fuse.LastAt)) >= e.standsAfter()
}

// stepFound takes a step that is held against a sensor, or one back that mends it.
func (e *Engine) stepFound(j *jump, at station.Instant, l *level, name string, w who) {
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
	j.Found, j.FoundAt = j.By, at
	e.Doubt.Jump.Tops.Same = 0
	is, w, why := e.whyJump(j, at, l, name, w)
	h.hold(is, w, at, why)
}

// whyJump says what a step may mean.
func (e *Engine) whyJump(j *jump, at station.Instant, l *level, name string, w who) (suspicion, who, string) {
	o := &e.Doubt.Jump.In
	if name == "inlet" {
		o = &e.Doubt.Jump.Out
	}
	if j.Together == at {
		if a, b := j.To, o.To; math.Abs(a-o.From) < 0.1*o.From && math.Abs(b-j.From) < 0.1*j.From {
			return exchanged, bothDoubted, "the inlet reads what the outlet did, and the outlet what the inlet did: the sensors are exchanged"
		}
		if j.From > 100e3 && o.From > 100e3 {
			if f := ratioUnit(j.To / j.From); f != nil && ratioUnit(o.To/o.From) == f {
				return wrongUnit, bothDoubted, fmt.Sprintf("the outlet reads %s of what it did, and so does the inlet: a wrong unit, sensors in %s?", f.share, f.words)
			}
		}
	}
	if j.From > 100e3 {
		if f := ratioUnit(j.To / j.From); f != nil {
			return wrongUnit, w, fmt.Sprintf("the %s reads %s of what it did a moment before: a wrong unit, a sensor in %s?", name, f.share, f.words)
		}
	}
	if l.Mean < vented && j.From > 100e3 {
		return jumped, w, "the " + name + " reads near atmosphere from one sample to the next: a broken wire, or a fault of its sensor"
	}
	return jumped, w, fmt.Sprintf("the %s reads %+.0f kPa from one sample to the next, since %s: its sensor has an offset", name, j.Found/1e3, at.Floor(station.Second))
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
		if t.N++; t.N == 1 {
			t.Usual = high
		}
		t.Usual += 0.3 * (high - t.Usual)
	case h.Is == jumped && h.Who == outletDoubted && t.N >= 2:
		if math.Abs(high-t.Usual) > 0.3*math.Abs(found.Found) {
			t.Same = 0
		} else if t.Same++; t.Same >= topsAgree {
			found.Found = 0
			e.Doubt.clear()
		}
	}
}
