package rules

import (
	"bytes"
	"math"
	"reflect"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// like plays hours of a station that strokes evenly, a step every 5 s.
type like struct {
	v  *Evaluator
	s  station.Status
	at station.Instant // end of the newest hour
}

// monday is 2026-01-05 00:00 UTC.
var monday = station.InstantOf(time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC))

func newLike(plate *station.Plate) *like {
	l := &like{at: monday}
	l.v = NewEvaluator(plate, func(*Transition) {})
	never := station.Gauge(nan)
	l.s = station.Status{State: station.Holding, OutletLastSeen: never, InletReads: never, OutletReads: never, InletPeak: never, OutletPeak: never,
		Inlet: station.Unknown("test"), Outlet: station.Unknown("test")}
	for i := range l.s.Estimates {
		l.s.Estimates[i] = station.Unknown("test")
	}
	l.s.StrokeRate = station.Estimate{Method: station.MethodCounter, Confidence: 1}
	return l
}

// hour plays an hour with so many strokes, counted as the station stands now. After a gap its first step does not count, so
// that its strokes are scaled by 720/719.
func (l *like) hour(strokes int64) {
	const steps = 720
	for i := range int64(steps) {
		l.s.At = l.at.Add((i + 1) * hourNs / steps)
		l.s.Strokes += strokes*(i+1)/steps - strokes*i/steps
		l.v.Step(&l.s)
	}
	l.at = l.at.Add(hourNs)
}

// skip lets n hours pass without a step.
func (l *like) skip(n int64) { l.at = l.at.Add(n * hourNs) }

// mornings plays an hour of each day, at the same time, from today on.
func (l *like) mornings(strokes ...int64) {
	for _, n := range strokes {
		l.hour(n)
		l.skip(23)
	}
}

// settle plays one more step, which ends the hour before.
func (l *like) settle() {
	for i := range int64(4) {
		l.s.At = l.at.Add((i + 1) * 5 * station.Second)
		l.v.Step(&l.s)
	}
}

func (l *like) stands() bool { return l.v.Alarms[index(RateStep)].State.Active() }

var week = []int64{600, 610, 590, 605, 595}

// A new consumer is told after its first hour, against that hour of like days, and what it does to the weekend is no matter of them.
func TestMoreStrokesThanOnLikeDays(t *testing.T) {
	l := newLike(&station.Plate{})
	l.mornings(week...)
	l.mornings(5, 5) // Saturday and Sunday
	l.hour(1100)
	if l.stands() {
		t.Fatal("raised before the hour was over")
	}
	l.settle()
	if n := l.v.Like.Newest; !l.stands() || n.Days != 5 || math.Abs(n.Usual-600) > 1 || math.Abs(n.Rate-1100) > 2 || l.v.Like.Since != monday.Add(7*24*hourNs) {
		t.Errorf("stands: %v, %+v since %v", l.stands(), n, l.v.Like.Since)
	}
	w := newLike(&station.Plate{})
	w.mornings(week...)
	w.mornings(1100, 1100) // Saturday and Sunday have no like days yet
	if w.settle(); w.stands() {
		t.Error("a Saturday was compared with working days")
	}
}

// A calendar with shifts tells what is alike, by the site's clock: a Saturday that is worked is a working day, and an hour keeps its
// place when the clock changes (Lisbon, 2026-03-29).
func TestLikeByTheSitesCalendar(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	c := &station.Calendar{Grace: 30}
	c.SetZone(zone)
	c.Shifts = []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: 6 * 60, To: 22 * 60}}
	l := newLike(&station.Plate{Calendar: c.Text()})
	l.at = station.InstantOf(time.Date(2026, 3, 24, 8, 0, 0, 0, time.UTC)) // Tuesday, 08:00 in Lisbon
	l.mornings(week...)
	l.skip(-1) // Sunday, 08:00 in Lisbon is 07:00 UTC
	l.hour(1100)
	l.settle()
	if n := l.v.Like.Newest; !l.stands() || n.Days != 5 || l.v.Like.Open.Hour != 9 {
		t.Errorf("stands: %v, %+v, the clock shows hour %d", l.stands(), n, l.v.Like.Open.Hour)
	}
}

// Hours that are like no other are neither judged nor learned.
func TestHoursThatDoNotCount(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(l *like)
	}{
		{"blind", func(l *like) { l.s.State = station.Blind; l.hour(1100) }},
		{"silent", func(l *like) { l.skip(1) }},
		{"half of it silent", func(l *like) { l.at = l.at.Add(hourNs / 2); l.hour(1100); l.at = l.at.Add(-hourNs / 2) }},
		{"strokes unknown", func(l *like) { l.s.StrokeRate = station.Unknown("test"); l.hour(1100) }},
		{"header low", func(l *like) {
			l.s.Estimates[station.HeaderStatic] = station.Estimate{Value: 200e3, Method: station.MethodTraces, Confidence: 1}
			l.hour(1100)
		}},
		{"by traces", func(l *like) { l.s.StrokeRate.Method = station.MethodTraces; l.hour(1100) }},
	} {
		l := newLike(&station.Plate{Required: 900e3, AreaRatio: 1})
		l.mornings(week...)
		l.skip(2 * 24)
		c.spoil(l)
		if l.settle(); l.stands() || l.v.Like.Hours[1][0].N != 5 {
			t.Errorf("%s: stands %v, %d days learned", c.name, l.stands(), l.v.Like.Hours[1][0].N)
		}
	}
}

// A step stands until two hours in a row are nearer to the usual, and is never learned.
func TestTheStepIsNotLearned(t *testing.T) {
	l := newLike(&station.Plate{})
	l.mornings(week...)
	l.skip(2 * 24)
	for range 4 {
		l.mornings(1100, 1100, 1100, 1100, 1100)
		l.skip(2 * 24)
	}
	if h := &l.v.Like.Hours[1][0]; !l.stands() || h.N != 5 {
		t.Errorf("after four weeks it stands: %v, and %d days are usual", l.stands(), h.N)
	}
	l.mornings(640, 1100, 640)
	if l.settle(); !l.stands() {
		t.Error("one hour nearer to the usual ended it")
	}
	l.skip(0)
	l.mornings(640)
	if l.settle(); l.stands() {
		t.Error("two hours nearer to the usual did not end it")
	}
}

// A rise below the leak limit is none, however sure it is: 200 strokes of 0.1 L more in an hour are 0.33 L/min.
func TestWhatDoesNotMatter(t *testing.T) {
	for delivery, want := range map[float64]bool{0.1e-3: false, 10e-3: true} { // 10 L: 33 L/min
		l := newLike(&station.Plate{})
		l.s.Estimates[station.StrokeDelivery] = station.Estimate{Value: delivery, Method: station.MethodRecharge, Confidence: 1}
		for range 3 {
			l.mornings(600, 600, 600, 600, 600)
			l.skip(2 * 24)
		}
		l.mornings(800)
		if l.settle(); l.stands() != want {
			t.Errorf("200 strokes of %g L more: stands %v, expected %v", delivery*1e3, l.stands(), want)
		}
	}
}

// What makes the days of before another station's ends the finding, and learns anew.
func TestWhatForgetsLikeDays(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(l *like, p *station.Plate) error
		ends bool
	}{
		{"base demand", func(l *like, p *station.Plate) error { p.BaseDemand = 1e-4; l.v.Changed(); return nil }, true},
		{"overhaul on the plate", func(l *like, p *station.Plate) error { p.Overhauled = "2026-01-12"; l.v.Changed(); return nil }, true},
		{"the calendar", func(l *like, p *station.Plate) error {
			p.Service = ""
			p.Grace = time.Minute
			l.v.Changed()
			return nil
		}, false},
		{"overhaul by a record", func(l *like, p *station.Plate) error {
			err := l.v.Command(&station.Command{Kind: "done", By: "Ada", Service: station.Overhaul, Date: "2026-01-12", Document: "7"}, l.at)
			l.settle()
			return err
		}, true},
		{"a drain by a record", func(l *like, p *station.Plate) error {
			err := l.v.Command(&station.Command{Kind: "done", By: "Ada", Service: station.DrainService, Date: "2026-01-12", Document: "7"}, l.at)
			l.settle()
			return err
		}, false},
		{"closed as use", func(l *like, p *station.Plate) error { return l.closed(station.CauseUse) }, true},
		{"closed as setting", func(l *like, p *station.Plate) error { return l.closed(station.CauseSetting) }, true},
		{"closed as a leak", func(l *like, p *station.Plate) error {
			if l.closed(station.CauseLeak) == nil {
				t.Error("closed as a leak while it stands")
			}
			return nil
		}, false},
		{"a note", func(l *like, p *station.Plate) error {
			return l.v.Command(&station.Command{Kind: "note", Alarm: RateStep, By: "Ada", Note: "a new press"}, l.at)
		}, false},
	} {
		p := &station.Plate{}
		l := newLike(p)
		l.mornings(week...)
		l.skip(2 * 24)
		l.hour(1100)
		l.settle()
		if !l.stands() {
			t.Fatal("the step does not stand")
		}
		if err := c.do(l, p); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if l.stands() == c.ends {
			t.Errorf("%s: the finding stands: %v", c.name, l.stands())
		}
		if n := l.v.Like.Hours[1][0].N; (n == 0) != c.ends {
			t.Errorf("%s: %d days are usual", c.name, n)
		}
	}
}

// closed is a person's closing.
func (l *like) closed(cause station.Cause) error {
	return l.v.Command(&station.Command{Kind: "close", Alarm: RateStep, By: "Ada", Note: "a new press", Cause: cause}, l.s.At)
}

// After a person's word the new level is usual: it is told no more, and a further step is.
func TestTheNewUsual(t *testing.T) {
	l := newLike(&station.Plate{})
	l.mornings(week...)
	l.skip(2 * 24)
	l.hour(1100)
	l.settle()
	if err := l.closed(station.CauseUse); err != nil {
		t.Fatal(err)
	}
	l.skip(23)
	l.mornings(1100, 1090, 1110, 1100)
	l.skip(2 * 24)
	l.mornings(1105)
	if l.settle(); l.stands() {
		t.Error("the level that somebody called usual is told again")
	}
	l.skip(0)
	l.mornings(1900)
	if l.settle(); !l.stands() {
		t.Error("a step above the new usual is not told")
	}
}

// Snapshots and records hold all of it.
func TestLikeDaysAreKept(t *testing.T) {
	p := &station.Plate{}
	l := newLike(p)
	for range 4 { // more days than are kept
		l.mornings(week...)
		l.mornings(5, 6)
	}
	l.hour(1100)
	l.settle()
	var buf bytes.Buffer
	if err := l.v.Save(&buf); err != nil {
		t.Fatal(err)
	}
	r, err := Restore(&buf, p, func(*Transition) {})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(r.Like, l.v.Like) {
		t.Errorf("saved %+v\nrestored %+v", l.v.Like, r.Like)
	}
	var want, got station.LearnedLike
	l.v.LearnedLike(&want)
	n := newLike(p)
	n.v.RecallLike(&want)
	if n.v.LearnedLike(&got); !reflect.DeepEqual(got, want) || len(want.Slots) != 2 || len(want.Slots[1].Rates) != likeDepth || want.Step == 0 {
		t.Errorf("learned %+v\nrecalled %+v", want, got)
	}
	n.at = l.at.Add(23 * hourNs)
	n.hour(1100)
	if n.settle(); !n.stands() {
		t.Error("the step that was recalled does not stand")
	}
}
