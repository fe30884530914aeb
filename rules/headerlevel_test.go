package rules

import (
	"fmt"
	"slices"
	"testing"

	"strokewise/analyzer/station"
)

// fallenHeader returns a header whose alarm stands at 12 s, with n stations under it.
func fallenHeader(n int) *Header {
	var o told
	h := o.header(UsualHeader)
	for i := range n {
		h.Push(change(-600, fmt.Sprintf("s%02d", i), Fed))
		h.Push(change(1, fmt.Sprintf("s%02d", i), Fell))
	}
	h.Advance(sec(12))
	return h
}

// showLow returns n stations that seem to be shut in since 1 s, whose inlets have fallen from 640 to 490 kPa.
func showLow(at float64, n int) (out []LevelStation) {
	for i := range n {
		out = append(out, LevelStation{fmt.Sprintf("s%02d", i), LevelState{At: sec(at), Since: sec(1), Inlet: 490e3, Usual: 640e3}})
	}
	return out
}

// until returns the answer to a station, -1 where there is none.
func until(list []HoldAnswer, id string) station.Instant {
	i := slices.IndexFunc(list, func(a HoldAnswer) bool { return a.Station == id })
	if i < 0 {
		return -1
	}
	return list[i].Until
}

// An inlet follows its header where two others and half of the alarm's show its fall, within the band of
// two sensors: 12.8 kPa of 640, and what the line may take of a station that works.
func TestAnInletFollowsItsHeader(t *testing.T) {
	holds := sec(100).Add(holdLease).Floor(leaseStep) // two minutes, in whole half minutes
	for _, c := range []struct {
		name   string
		n      int
		change func([]LevelStation)
		want   station.Instant // for the first station; 0: none, which is what it has
	}{
		{"all alike", 12, func([]LevelStation) {}, holds},
		{"two others are enough", 3, func([]LevelStation) {}, holds},
		{"one other is not", 3, func(l []LevelStation) { l[1].Inlet = 640e3 }, -1},
		{"within the band", 12, func(l []LevelStation) { l[0].Inlet += 12e3 }, holds},
		{"its sensor reads 40 kPa too much", 12, func(l []LevelStation) { l[0].Inlet, l[0].Usual = 530e3, 680e3 }, holds},
		{"below the header", 12, func(l []LevelStation) { l[0].Inlet = 470e3 }, -1},
		{"its line was vented", 12, func(l []LevelStation) { l[0].Inlet = 2e3 }, -1},
		{"the others are back", 12, func(l []LevelStation) {
			for i := range l[1:] {
				l[i+1].Inlet, l[i+1].Since = 640e3, 0
			}
		}, -1},
		{"the others stroke, their lines take up to a tenth", 12, func(l []LevelStation) {
			for i := range l[1:] {
				l[i+1].Inlet, l[i+1].Since, l[i+1].Working, l[i+1].Sag = 440e3, 0, true, 0.1
			}
		}, holds},
		{"the header is under half of its usual level", 12, func(l []LevelStation) {
			for i := range l {
				l[i].Inlet = 310e3
			}
		}, -1},
		{"under half of its own usual level, the header is not", 12, func(l []LevelStation) { l[0].Inlet, l[0].Usual = 140e3, 290e3 }, holds},
		{"the others were read long ago", 12, func(l []LevelStation) {
			for i := range l[1:] {
				l[i+1].At = sec(60)
			}
		}, -1},
		{"the alarm is not about it", 12, func(l []LevelStation) { l[0].Station = "s99" }, -1},
	} {
		h, list := fallenHeader(c.n), showLow(100, c.n)
		c.change(list)
		if got := until(h.Levels(list), list[0].Station); got != c.want {
			t.Errorf("%s: %v, expected %v", c.name, got, c.want)
		}
	}
}

// Answers are prolonged as long as the inlet follows: two hours while nobody has acknowledged the
// alarm, twelve once somebody has. Where nobody sees it they end at once.
func TestAHeaderHoldsNobodyForEver(t *testing.T) {
	h := fallenHeader(12)
	list := showLow(7000, 12)
	if got, want := until(h.Levels(list), "s00"), sec(7000).Add(holdLease).Floor(leaseStep); got != want {
		t.Errorf("%v, expected %v", got, want)
	}
	list = showLow(7190, 12) // two hours after 1 s are 7,201 s
	if got := until(h.Levels(list), "s00"); got != sec(7201) {
		t.Errorf("%v, expected the end of two hours", got)
	}
	list = showLow(7300, 12)
	list[0].Until = sec(7201)
	if got := until(h.Levels(list), "s00"); got != 0 {
		t.Errorf("%v after two hours", got)
	}
	h.Push(HeaderInput{At: sec(7300), Command: &station.Command{Kind: "acknowledge", Alarm: HeaderLow, By: "Ada"}})
	h.Advance(sec(7301))
	if got := until(h.Levels(showLow(7302, 12)), "s00"); got < sec(7302) {
		t.Errorf("%v, though somebody has acknowledged it", got)
	}
	list = showLow(12*3600+2, 12)
	list[0].Until = sec(12 * 3600)
	if got := until(h.Levels(list), "s00"); got != 0 {
		t.Errorf("%v after twelve hours", got)
	}
	h.Push(HeaderInput{At: sec(44000), Command: &station.Command{Kind: "shelve", Alarm: HeaderLow, By: "Ada", Note: "known"}})
	h.Advance(sec(44001))
	list = showLow(44001, 12)
	list[0].Since, list[0].Until = sec(43000), sec(44060)
	if got := until(h.Levels(list), "s00"); got != 0 {
		t.Errorf("%v while the alarm is shelved", got)
	}
}

// An inlet that left its header is let go after ten seconds: readings of one that moves are not of one
// time. It is not taken back before it follows again.
func TestAnInletThatStaysBehind(t *testing.T) {
	h := fallenHeader(12)
	behind := func(at float64, until station.Instant) []LevelStation {
		list := showLow(at, 12)
		for i := range list {
			list[i].Until = until
			if i > 0 {
				list[i].Inlet = 600e3
			}
		}
		return list
	}
	for at := 100.0; at < 110; at++ {
		if got := until(h.Levels(behind(at, sec(200))), "s00"); got == 0 {
			t.Fatalf("let go after %v s", at-100)
		}
	}
	if got := until(h.Levels(behind(110, sec(200))), "s00"); got != 0 {
		t.Errorf("%v after ten seconds", got)
	}
	if got := until(h.Levels(behind(111, 0)), "s00"); got != -1 {
		t.Errorf("%v: taken back", got)
	}
}

// supposedShut is a stage whose supply seems to be closed since its first step, by an inlet of 490 kPa.
func supposedShut(p station.Plate) *stage {
	g := newStage(p)
	g.play(1, func(_ int, s *station.Status) { g.shut(s); s.Inlet = known(490e3) })
	return g
}

// The answer holds pressure-left back until its time. Without one the alarm comes when the grace time of five
// minutes is over, and at once when the answer runs out, is revoked, or the inlet is lost or vented.
func TestTheHeadersAnswerHoldsPressureLeft(t *testing.T) {
	far := t0.Add(5000 * station.Second)
	none := func(int, *station.Status) {}
	for _, c := range []struct {
		name   string
		until  station.Instant
		change func(i int, s *station.Status)
		raised int // s
	}{
		{"no answer", 0, none, 300},
		{"until its time", t0.Add(900 * station.Second), none, 900},
		{"the inlet is lost", far, func(i int, s *station.Status) {
			if i > 400 {
				s.Inlet = station.Unknown("test")
			}
		}, 411},
		{"the inlet is vented", far, func(i int, s *station.Status) {
			if i > 400 {
				s.Inlet = known(10e3)
			}
		}, 411},
		{"the valve signals that it is closed", far, func(i int, s *station.Status) {
			if i > 400 {
				s.ShutdownBy = ByValve
			}
		}, 411},
		{"another shutdown", far, func(i int, s *station.Status) {
			if i > 400 {
				s.ShutdownAt = t0.Add(350 * station.Second)
			}
		}, 650},
	} {
		g := supposedShut(station.Plate{})
		g.play(9, nil)
		g.v.Answer(HeaderHolds, c.until)
		g.play(2000, c.change)
		raised := -1
		for _, x := range g.got {
			if x.Alarm == PressureLeft && x.To == Unacknowledged && x.From == Normal {
				raised = int(x.At.Sub(t0) / station.Second)
			}
		}
		if raised != c.raised {
			t.Errorf("%s: raised after %d s, expected %d", c.name, raised, c.raised)
		}
	}
}

// An answer counts for twelve hours after the shutdown at most, holds nothing back where the shift is
// over, and takes no alarm back.
func TestTheHeadersAnswerIsBounded(t *testing.T) {
	g := supposedShut(station.Plate{})
	g.v.Answer(HeaderHolds, t0.Add(100*3600*station.Second))
	g.play(43198, nil)
	if n := g.count(PressureLeft, Unacknowledged); n != 0 {
		t.Fatalf("raised before: %+v", g.got)
	}
	g.play(2, nil)
	if n := g.count(PressureLeft, Unacknowledged); n != 1 {
		t.Error("an answer holds back for more than twelve hours")
	}
	g.v.Answer(HeaderHolds, t0.Add(100*3600*station.Second))
	g.play(10, nil)
	if a := &g.v.Alarms[index(PressureLeft)]; a.State != Unacknowledged {
		t.Errorf("taken back: %s", a.State)
	}
	over := shiftOver(t) // its grace time is over after 300 s
	over.play(1, func(_ int, s *station.Status) { over.shut(s); s.Inlet = known(490e3) })
	over.v.Answer(HeaderHolds, t0.Add(3600*station.Second))
	over.play(301, nil)
	if n := over.count(PressureLeft, Unacknowledged); n != 1 {
		t.Errorf("held back after the shift: %+v", over.got)
	}
}
