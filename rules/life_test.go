package rules

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

func leak(flow float64) func(int, *station.Status) {
	return func(_ int, s *station.Status) { s.Estimates[station.LeakFlow] = known(flow * 1e-3 / 60) }
}

func text(t *Transition, name string) string {
	for _, e := range t.Evidence {
		if e.Name == name {
			return e.Text
		}
	}
	return ""
}

// The sixth raise within ten minutes is chattering: noted, and the delay is longer until
// it has been quiet for ten minutes.
func TestChattering(t *testing.T) {
	g := newStage(station.Plate{Relief: 1})
	i := index("starved")
	for range 6 {
		g.play(61, func(_ int, s *station.Status) { s.State = station.Starved })
		g.play(1, func(_ int, s *station.Status) { s.State = station.Holding })
	}
	n := g.count("starved", Unacknowledged)
	last := &g.got[len(g.got)-2]
	if n != 6 || text(last, "chattering") == "" || last.To != Unacknowledged {
		t.Fatalf("raised %d times, the last %+v", n, last)
	}
	if first := &g.got[0]; text(first, "chattering") != "" {
		t.Errorf("the first raise is chattering")
	}
	g.play(119, func(_ int, s *station.Status) { s.State = station.Starved })
	if g.count("starved", Unacknowledged) != 6 {
		t.Error("raised with the usual delay while chattering")
	}
	g.play(2, nil)
	if g.count("starved", Unacknowledged) != 7 {
		t.Error("not raised after the longer delay")
	}
	g.play(700, func(_ int, s *station.Status) { s.State = station.Holding })
	if g.v.delay(i, g.now) != catalogue[i].DelayNs {
		t.Error("the delay stays longer after ten quiet minutes")
	}
}

// A clock set back by an hour keeps no alarm from being raised, and the delay still counts.
func TestAClockSetBack(t *testing.T) {
	g := newStage(station.Plate{TankPS: 1000e3})
	g.play(70, leak(30))
	g.play(5, leak(0))
	g.play(50, leak(60)) // 50 of the 60 s; more than what ended
	g.now = g.now.Add(-3600 * station.Second)
	g.s.Segment++
	g.play(9, nil)
	if g.count(OutletLeak, Unacknowledged) != 1 {
		t.Error("raised before the delay was over")
	}
	g.play(3, func(_ int, s *station.Status) { s.Outlet = known(1100e3) })
	if g.count(OutletLeak, Unacknowledged) != 2 || g.count(OverPressure, Unacknowledged) != 1 {
		t.Errorf("not raised after the clock was set back: %+v", g.got)
	}
}

// The date of an inspection is of the plate: entering the next one ends the alarm.
func TestInspectionDueEndsWithTheNextDate(t *testing.T) {
	plate := &station.Plate{Inspection: "2026-01-20"}
	g := newStage(station.Plate{})
	g.v = NewEvaluator(plate, func(t *Transition) { g.got = append(g.got, *t) })
	g.play(2, nil)
	plate.Inspection = "2028-01-20"
	g.play(2, nil)
	if g.count("inspection-due", Unacknowledged) != 1 || g.count("inspection-due", ReturnedUnacknowledged) != 1 {
		t.Errorf("%+v", g.got)
	}
}

// What follows within 30 s names what came first.
func TestFirstOut(t *testing.T) {
	g := newStage(station.Plate{TankPS: 1000e3})
	g.play(70, leak(30))
	g.play(5, func(_ int, s *station.Status) { s.Outlet = known(1100e3) })
	if len(g.got) != 2 || g.got[1].Alarm != OverPressure || text(&g.got[1], "first") != OutletLeak {
		t.Fatalf("%+v", g.got)
	}
	g.play(60, func(_ int, s *station.Status) { s.Outlet = known(900e3) })
	g.play(5, func(_ int, s *station.Status) { s.Outlet = known(1100e3) })
	if last := &g.got[len(g.got)-1]; last.To != Unacknowledged || text(last, "first") != "" {
		t.Errorf("a minute later: %+v", last)
	}
}

// Each change by a person says who and why, and no two transitions have the same ID,
// however often an occurrence is shelved and noted, even in the same instant.
func TestWhoAndWhy(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(70, leak(30))
	for range 3 {
		for _, c := range []station.Command{{Kind: "shelve", Until: g.now.Add(station.Minute60)}, {Kind: "unshelve"},
			{Kind: "acknowledge"}, {Kind: "note"}, {Kind: "note"}, {Kind: "out-of-service"}, {Kind: "in-service"}} {
			c.Alarm, c.By, c.Note = OutletLeak, "Ada", "because"
			n := len(g.got)
			if err := g.v.Command(&c, g.now); err != nil {
				t.Fatal(err)
			}
			if len(g.got) != n+1 || g.got[n].By != "Ada" || g.got[n].Why != "because" {
				t.Errorf("%s: %+v", c.Kind, g.got[n:])
			}
			if !strings.Contains(g.got[n].Message, "30.0 L/min") {
				t.Errorf("%s: the message is lost: %q", c.Kind, g.got[n].Message)
			}
		}
	}
	seen := map[string]bool{}
	for i := range g.got {
		if id := g.got[i].ID(); seen[id] {
			t.Errorf("%s is given twice", id)
		} else {
			seen[id] = true
		}
	}
	if err := g.v.Command(&station.Command{Kind: "shelv", Alarm: OutletLeak}, g.now); err == nil || !strings.Contains(err.Error(), `did you mean "shelve"?`) {
		t.Errorf("%v", err)
	}
}

// A course of events with commands gives the same transitions when it is interrupted by a
// snapshot at any time.
func TestCommandsInAReplay(t *testing.T) {
	course := func(restoreAt int) []Transition {
		g := newStage(station.Plate{})
		emit := func(t *Transition) { g.got = append(g.got, *t) }
		for i := range 300 {
			if i == restoreAt {
				var buf bytes.Buffer
				if err := g.v.Save(&buf); err != nil {
					t.Fatal(err)
				}
				v, err := Restore(&buf, g.v.plate, emit)
				if err != nil {
					t.Fatal(err)
				}
				g.v = v
			}
			switch i {
			case 80:
				g.v.Command(&station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ada", Note: "x", Until: g.now.Add(station.Minute60)}, g.now)
			case 170:
				g.v.Command(&station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "Ada"}, g.now)
			}
			flow := 30.0
			if i > 200 {
				flow = 0
			}
			g.play(1, leak(flow))
		}
		return g.got
	}
	want := course(-1)
	if len(want) != 5 {
		t.Fatalf("%d transitions: %+v", len(want), want)
	}
	for _, at := range []int{1, 60, 80, 81, 139, 140, 141, 200, 250} {
		if got := course(at); !reflect.DeepEqual(got, want) {
			t.Errorf("restored at %d s: %+v\nwant %+v", at, got, want)
		}
	}
}

// A snapshot of a program with other alarms keeps those that both know, and ends
// the others.
func TestArrange(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(70, leak(30))
	var got []Transition
	v := NewEvaluator(&station.Plate{}, func(t *Transition) { got = append(got, *t) })
	v.Names = []string{"gone", OutletLeak}
	v.Alarms = []alarm{{State: Acknowledged}, g.v.Alarms[index(OutletLeak)]}
	v.arrange()
	if len(v.Alarms) != len(catalogue) || v.Alarms[index(OutletLeak)].State != Unacknowledged || v.Alarms[0].State != Normal {
		t.Errorf("%+v", v.Alarms)
	}
	if len(got) != 1 || got[0].Alarm != "gone" || got[0].To != Normal {
		t.Errorf("an alarm that is gone stands for ever: %+v", got)
	}
}

// An evaluator that takes over a shelved alarm knows when the shelving ends.
func TestAdoptShelved(t *testing.T) {
	g := newStage(station.Plate{})
	g.play(70, leak(30))
	until := g.now.Add(station.Minute60)
	if err := g.v.Command(&station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ada", Note: "x", Until: until}, g.now); err != nil {
		t.Fatal(err)
	}
	v := NewEvaluator(&station.Plate{}, nil)
	v.Adopt(g.got[len(g.got)-1:])
	if a := v.Alarms[index(OutletLeak)]; a.State != Shelved || a.Until != until || a.Once {
		t.Errorf("%+v", a)
	}
}

// A step of the whole catalogue on a station with everything given and known.
func busy() (*Evaluator, *station.Status) {
	plate := &station.Plate{Relief: 1100e3, TankPS: 1000e3, HoseLimit: 1200e3, Required: 600e3, AreaRatio: 1, Inspection: "2027-01-01"}
	g := newStage(*plate)
	v := NewEvaluator(plate, func(*Transition) {})
	s := g.s
	s.State, s.Since, s.StrokeRate, s.StrokesMinute = station.Stroking, t0, known(0.5), 30
	s.Estimates[station.Pulsation], s.Estimates[station.StrokeUnevenness], s.Estimates[station.SetPressure] = known(0.01), known(0.02), known(800e3)
	s.Estimates[station.LeakFlow], s.Estimates[station.SupplySag] = known(30e-3/60), known(0.01) // the leak alarm stands
	s.At = t0
	return v, &s
}

func TestStepDoesNotAllocate(t *testing.T) {
	v, s := busy()
	for range 200 {
		s.At = s.At.Add(station.Second)
		v.Step(s)
	}
	if n := testing.AllocsPerRun(100, func() { s.At = s.At.Add(station.Second); v.Step(s) }); n > 0 {
		t.Errorf("%v allocations a step", n)
	}
	s.State, s.ShutdownAt, s.ShutdownBy = station.Residual, s.At, ByValve // pressure left stands
	for range 400 {
		s.At = s.At.Add(station.Second)
		v.Step(s)
	}
	if n := testing.AllocsPerRun(100, func() { s.At = s.At.Add(station.Second); v.Step(s) }); n > 0 || v.Alarms[index(PressureLeft)].State != Unacknowledged {
		t.Errorf("%v allocations a step with pressure left", n)
	}
}

func BenchmarkStep(b *testing.B) {
	v, s := busy()
	b.ReportAllocs()
	for b.Loop() {
		s.At = s.At.Add(station.Second)
		v.Step(s)
	}
}
