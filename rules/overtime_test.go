package rules

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// shiftOver is a stage whose shift ended at 22:00 of the day before; its grace time of 125 minutes
// is over 5 minutes after the stage's begin (t0 is midnight).
func shiftOver(t *testing.T) *stage {
	t.Helper()
	c := station.Calendar{Zone: "UTC", Grace: 125, Shifts: []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: 12 * 60, To: 22 * 60}}}
	return newStage(station.Plate{Calendar: c.Text()})
}

func strokes(_ int, s *station.Status) {
	s.State, s.StrokeRate, s.StrokesMinute = station.Stroking, known(0.5), 30
}

func idles(_ int, s *station.Status) {
	s.State, s.StrokeRate, s.StrokesMinute = station.Holding, known(0), 0
}

// A station that strokes when the grace time is over waits two minutes for its site's answer,
// then is pressure-left. One that is idle is at once.
func TestOvertimeWithoutAnAnswer(t *testing.T) {
	g := shiftOver(t)
	g.play(419, strokes) // 300 s to the end of the grace time, 120 s of waiting
	if n := g.count(PressureLeft, Unacknowledged); n != 0 {
		t.Fatalf("raised before the answer could come: %+v", g.got)
	}
	if o := g.v.OverState(); o.Since != t0.Add(300*station.Second) || o.End != t0.Add(-7200*station.Second) || !strings.Contains(o.Clock, "22:00") {
		t.Errorf("%+v", o)
	}
	g.play(2, strokes)
	if n := g.count(PressureLeft, Unacknowledged); n != 1 {
		t.Errorf("not raised without an answer")
	}
	g = shiftOver(t)
	g.play(301, idles)
	if n := g.count(PressureLeft, Unacknowledged); n != 1 {
		t.Errorf("an idle station: %+v", g.got)
	}
}

// The answer holds the alarm back while the station strokes: until the time it names, never over
// 12 h. When the work ends before that, the crew has the calendar's grace time as after a shift.
func TestOvertimeIsBounded(t *testing.T) {
	due := t0.Add(300 * station.Second)
	for _, c := range []struct {
		name   string
		until  station.Instant
		stroke int // s, from midnight
		idle   int // s after that
		raised int // s
	}{
		{"the answer's time", due.Add(7200 * station.Second), 10000, 400, 300 + 7200},
		{"twelve hours, whatever the answer", due.Add(100 * 3600 * station.Second), 43000, 400, 0}, // the next shift begins before
		{"the strokes stop", due.Add(7200 * station.Second), 1000, 8000, 1000 + 260 + 125*60},      // of the last five minutes, to the minute, less than a tenth
		{"nobody answered before they stop", 0, 350, 400, 420},
		{"revoked", 0, 10000, 400, 420},
	} {
		g := shiftOver(t)
		g.play(310, strokes)
		g.v.Answer(OverTime, c.until)
		g.play(c.stroke-310, strokes)
		g.play(c.idle, idles)
		raised := 0
		for _, x := range g.got {
			if x.Alarm == PressureLeft && x.To == Unacknowledged && x.From == Normal {
				raised = int(x.At.Sub(t0) / station.Second)
			}
		}
		if raised < c.raised-1 || raised > c.raised+1 {
			t.Errorf("%s: raised after %d s, expected %d", c.name, raised, c.raised)
		}
	}
	o := overtime{Since: due, Until: due.Add(100 * 3600 * station.Second)}
	if end := due.Add(overMost); !o.waits(end-1) || o.waits(end) {
		t.Error("an answer holds back for more than twelve hours")
	}
}

// Work that pauses for longer than the grace time of a shutdown and goes on within the calendar's is the
// same overtime: its bounds go on, and nothing is raised in between.
func TestOvertimePauses(t *testing.T) {
	g := shiftOver(t)
	g.play(310, strokes)
	until := t0.Add(7500 * station.Second)
	g.v.Answer(OverTime, until)
	g.play(700, strokes)
	g.play(600, idles)
	if o := g.v.OverState(); o.Since != 0 {
		t.Errorf("at work while idle: %+v", o)
	}
	g.play(600, strokes)
	if o := g.v.OverState(); o.Since != t0.Add(300*station.Second) {
		t.Errorf("since %s, expected the end of the grace time", o.Since)
	}
	g.v.Answer(OverTime, until)
	if n := g.count(PressureLeft, Unacknowledged); n != 0 {
		t.Errorf("raised in a pause: %+v", g.got)
	}
}

// An alarm that stands is not taken back; a station that fell silent, is blind, or whose supply
// was closed and opened again in the night is not held back.
func TestOvertimeHoldsNothingElseBack(t *testing.T) {
	far := t0.Add(7000 * station.Second)
	g := shiftOver(t)
	g.play(310, idles)
	g.v.Answer(OverTime, far)
	g.play(10, strokes)
	if a := &g.v.Alarms[index(PressureLeft)]; a.State != Unacknowledged {
		t.Errorf("taken back: %s", a.State)
	}
	g = shiftOver(t)
	g.play(310, strokes)
	g.v.Answer(OverTime, far)
	g.v.Tick(g.now.Add(60*station.Second), &Arrivals{g.now, g.now})
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Error("not raised at a station that fell silent")
	}
	g = shiftOver(t)
	g.play(310, strokes)
	g.v.Answer(OverTime, far)
	g.play(1, func(_ int, s *station.Status) { s.State = station.Blind })
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Error("not raised at a station that is blind")
	}
	g = shiftOver(t)
	g.play(310, func(_ int, s *station.Status) {
		s.State, s.Outlet, s.ShutdownAt, s.ShutdownBy = station.Off, known(0), t0, ByValve
	})
	g.play(1, func(i int, s *station.Status) {
		strokes(i, s)
		s.Outlet, s.ShutdownAt, s.ShutdownBy = known(800e3), 0, station.NoShutdown
	})
	g.v.Answer(OverTime, far)
	g.play(1, strokes)
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Errorf("not raised at a station that was opened again: %+v", g.got)
	}
}

// overSiteOf returns stations of a site of which the first n are at work.
func overSiteOf(all, n int, at station.Instant) (out []OverStation) {
	for i := range all {
		s := OverStation{fmt.Sprintf("s%02d", i), OverState{At: at, End: sec(-3600)}}
		if i < n {
			s.Since, s.Clock = sec(0), "22:00"
		}
		out = append(out, s)
	}
	return out
}

// Enough stations are one finding that names them; each is answered until two hours after its
// grace time, and twelve once somebody has acknowledged the finding. When the last has stopped,
// the finding ends.
func TestOvertimeIsOneFinding(t *testing.T) {
	var o told
	h := NewHeader(station.SiteKey("north"), UsualHeader, func(t *Transition) { o.Transitions = append(o.Transitions, *t) }, func(Judgement) {})
	if a := h.Overtime(overSiteOf(10, 8, sec(0))); len(a) != 0 || len(o.Transitions) != 0 {
		t.Fatalf("before the hold-off: %+v, %+v", a, o.Transitions)
	}
	answers := h.Overtime(overSiteOf(10, 8, sec(10)))
	if len(answers) != 8 || answers[0].Until != sec(7200) || len(o.Transitions) != 1 {
		t.Fatalf("%+v, %+v", answers, o.Transitions)
	}
	x := o.Transitions[0]
	if x.Alarm != OverTime || x.Priority != Finding || !strings.Contains(x.Message, "8 of 10 stations") || !strings.Contains(x.Message, "overtime, or is the calendar or its zone wrong?") ||
		!slices.ContainsFunc(x.Evidence, func(e Evidence) bool { return strings.HasPrefix(e.Text, "s00, s01, s02") }) || x.Caution == "" {
		t.Errorf("%+v", x)
	}
	h.Push(HeaderInput{At: sec(60), Command: &station.Command{Kind: "acknowledge", Alarm: OverTime, By: "Ada"}})
	h.Advance(sec(61))
	if answers = h.Overtime(overSiteOf(10, 2, sec(70))); len(answers) != 2 || answers[0].Until != sec(12*3600) {
		t.Errorf("acknowledged: %+v", answers)
	}
	h.Push(HeaderInput{At: sec(80), Command: &station.Command{Kind: "shelve", Alarm: OverTime, By: "Ada", Note: "later", Until: sec(3600)}})
	h.Advance(sec(81))
	list := overSiteOf(10, 2, sec(90))
	list[0].Until, list[1].Until = sec(12*3600), sec(12*3600)
	if answers = h.Overtime(list); len(answers) != 2 || answers[0].Until != 0 {
		t.Errorf("shelved, nobody sees it: %+v", answers)
	}
	h.Push(HeaderInput{At: sec(100), Command: &station.Command{Kind: "unshelve", Alarm: OverTime, By: "Ada"}})
	h.Advance(sec(101))
	h.Overtime(overSiteOf(10, 0, sec(110)))
	if last := o.Transitions[len(o.Transitions)-1]; last.To != ReturnedUnacknowledged || h.standing() {
		t.Errorf("the last has stopped: %+v", last)
	}
}

// How many make it: three and 30 %, both of two, never one.
func TestHowManyAreOvertime(t *testing.T) {
	for _, c := range []struct{ all, work, answers int }{{1, 1, 0}, {2, 1, 0}, {2, 2, 2}, {3, 2, 0}, {3, 3, 3}, {20, 5, 0}, {20, 6, 6}, {100, 29, 0}, {100, 30, 30}} {
		h := NewHeader(station.SiteKey("north"), UsualHeader, func(*Transition) {}, func(Judgement) {})
		h.Overtime(overSiteOf(c.all, c.work, sec(0)))
		if got := len(h.Overtime(overSiteOf(c.all, c.work, sec(10)))); got != c.answers {
			t.Errorf("%d of %d at work: %d answers, expected %d", c.work, c.all, got, c.answers)
		}
	}
}

// A clock that is set back to before the end of the shift ends no pressure-left; the next shift
// does.
func TestAClockSetBackEndsNoPressureLeft(t *testing.T) {
	g := shiftOver(t) // the shift ended two hours before
	g.play(310, idles)
	if g.count(PressureLeft, Unacknowledged) != 1 {
		t.Fatal("not raised")
	}
	g.now = g.now.Add(-3 * 3600 * station.Second) // 21:05, in the shift
	g.s.Segment++
	g.play(600, idles)
	if a := &g.v.Alarms[index(PressureLeft)]; a.State != Unacknowledged {
		t.Errorf("it is %s: %+v", a.State, g.got)
	}
	g.now = t0.Add(12*3600*station.Second + station.Second) // in the next shift
	g.s.Segment++
	g.play(2, idles)
	if a := &g.v.Alarms[index(PressureLeft)]; a.State != ReturnedUnacknowledged {
		t.Errorf("in the next shift it is %s", a.State)
	}
}

// Nor does one that is set back lengthen the time for which it waits.
func TestAClockSetBackLengthensNoWaiting(t *testing.T) {
	g := shiftOver(t)
	g.play(310, strokes)
	g.v.Answer(OverTime, t0.Add((300+3600)*station.Second))
	g.play(3000, strokes)
	g.now = g.now.Add(-600 * station.Second)
	g.s.Segment++
	g.play(300+3600-310-3000-2, strokes)
	if n := g.count(PressureLeft, Unacknowledged); n != 0 {
		t.Error("raised too early")
	}
	g.play(4, strokes)
	if n := g.count(PressureLeft, Unacknowledged); n != 1 {
		t.Error("not raised after an hour of waiting")
	}
}

// A large tank is filled in a small share of the time: a station whose piston worked for less than a tenth of it is
// at work where more leaves the outlet than twice what its leak may take, and than the leak limit (15 L/min).
func TestOvertimeShownByUse(t *testing.T) {
	flow := func(litres float64) station.Estimate { return known(litres / 60e3) } // L/min
	for _, c := range []struct {
		name               string
		draw, leak, atMost float64 // L/min; leak, atMost 0: not known
		work               bool
	}{
		{"a consumer, tight", 20, 0, 2, true},
		{"a leak and no more", 20, 15, 0, false},
		{"a leak and a consumer", 40, 15, 0, true},
		{"nothing is known of the leak", 20, 0, 0, false},
		{"less than the leak limit", 14, 0, 2, false},
	} {
		g := shiftOver(t)
		g.play(400, func(_ int, s *station.Status) {
			s.State, s.StrokeRate, s.StrokesMinute = station.Holding, known(0), 0
			e := &s.Estimates
			e[station.OutletDraw], e[station.LeakFlow], e[station.LeakAtMost] = flow(c.draw), station.Unknown("test"), station.Unknown("test")
			if c.leak > 0 {
				e[station.LeakFlow] = flow(c.leak)
			}
			if c.atMost > 0 {
				e[station.LeakAtMost] = flow(c.atMost)
			}
		})
		if o := g.v.OverState(); o.Since != 0 != c.work {
			t.Errorf("%s: at work since %v, expected work %v", c.name, o.Since, c.work)
		}
	}
}

// A booster without a governor stands where the forces balance: 781 kPa twice less 2 % are 1531 kPa. The header that it
// reached that at is enough for it; one of 720 kPa is not for 95 % of it, 727 kPa by the forces. Where the plate states
// the set pressure a tenth is added for friction and flow: 800 kPa.
func TestHeaderNeededOfALearnedSet(t *testing.T) {
	for _, c := range []struct {
		header float64 // kPa
		plate  station.Gauge
		low    bool
	}{{781, 0, false}, {720, 0, true}, {781, 1531e3, true}} {
		g := newStage(station.Plate{AreaRatio: 1, Set: c.plate})
		g.play(90, func(_ int, s *station.Status) {
			s.Estimates[station.SetPressure], s.Estimates[station.HeaderStatic] = known(1531e3), known(c.header*1e3)
		})
		if got := g.count(HeaderLow, Unacknowledged) > 0; got != c.low {
			t.Errorf("header %.0f kPa, plate's set %.0f: header-low %v, expected %v", c.header, float64(c.plate), got, c.low)
		}
	}
}
