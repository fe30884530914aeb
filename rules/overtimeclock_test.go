package rules

import (
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// nightIn is a stage of a shift from 12:00 to `to` (minutes of the day) in Lisbon, with a grace time of 30 minutes, that
// begins at a time.
func nightIn(t *testing.T, to int, from string) *stage {
	t.Helper()
	z, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Skip("no zone database here: " + err.Error())
	}
	c := station.Calendar{Grace: 30, Shifts: []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: 12 * 60, To: to}}}
	c.SetZone(z)
	g := newStage(station.Plate{Calendar: c.Text()})
	g.now = at(from)
	return g
}

// raisedAt returns when pressure-left was first raised, 0: never.
func (g *stage) raisedAt() station.Instant {
	for _, x := range g.got {
		if x.Alarm == PressureLeft && x.To == Unacknowledged && x.From == Normal {
			return x.At
		}
	}
	return 0
}

// A shift that ends at 01:30 in the night in which the clock changes. In spring 01:30 is skipped: the clock goes from 01:00
// to 02:00 at 01:00 UTC, which is the end. In autumn it comes twice, at 00:30 and 01:30 UTC; people work until the last one. On
// other nights of summer it is 00:30 UTC (by hand). The grace time is half an hour of real time.
func TestOvertimeInTheNightOfTheChange(t *testing.T) {
	for _, c := range []struct{ name, from, end string }{
		{"spring: 01:30 is skipped", "2026-03-29T00:00:00Z", "2026-03-29T01:00:00Z"},
		{"autumn: 01:30 comes twice", "2026-10-25T00:00:00Z", "2026-10-25T01:30:00Z"},
		{"an ordinary night", "2026-05-10T00:00:00Z", "2026-05-10T00:30:00Z"},
	} {
		idle := nightIn(t, 90, c.from)
		idle.play(3*3600, idles)
		end := at(c.end)
		if due := end.Add(30 * station.Minute60); idle.raisedAt() != due {
			t.Errorf("%s: idle: raised at %s, expected %s", c.name, idle.raisedAt(), due)
		}
		busy := nightIn(t, 90, c.from)
		for range 4 * 360 {
			busy.play(10, strokes)
			if o := busy.v.OverState(); o.Since != 0 && o.Until == 0 {
				busy.v.Answer(OverTime, o.Since.Add(3600*station.Second))
			}
		}
		due := end.Add(30*station.Minute60 + 3600*station.Second)
		if got := busy.raisedAt(); got != due {
			t.Errorf("%s: overtime: raised at %s, expected an hour after the grace time, %s", c.name, got, due)
		}
	}
}

// The site's zone is mended in the configuration while overtime is held back: by the new calendar the shift is not over, so
// the waiting and its shutdown end; when it is, the station is judged anew.
func TestOvertimeWhenTheZoneChanges(t *testing.T) {
	g := shiftOver(t) // ended at 22:00 UTC, grace over at 00:05
	g.play(310, strokes)
	g.v.Answer(OverTime, t0.Add(7500*station.Second))
	g.play(60, strokes)
	z, err := time.LoadLocation("America/New_York") // five hours behind: the same clock times are 17:00 and 03:00 UTC
	if err != nil {
		t.Skip("no zone database here: " + err.Error())
	}
	c := station.Calendar{Grace: 125, Shifts: []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: 12 * 60, To: 22 * 60}}}
	c.SetZone(z)
	g.v.plate.Calendar = c.Text()
	g.v.Changed()
	g.play(3*3600-370, idles) // up to 03:00 UTC
	if o := g.v.OverState(); o.End != 0 || o.Since != 0 || g.raisedAt() != 0 {
		t.Errorf("within the shift of the new zone: %+v, raised at %s", o, g.raisedAt())
	}
	g.play(126*60, idles)
	if want := t0.Add((3*3600 + 125*60) * station.Second); g.raisedAt() != want {
		t.Errorf("raised at %s, expected %s: 125 minutes after 22:00 in the new zone", g.raisedAt(), want)
	}
}

// A plant of two stations: one at work is no overtime of the site, both are.
func TestOvertimeOfTwoStations(t *testing.T) {
	var got []Transition
	h := NewHeader(station.SiteKey("north"), UsualHeader, func(x *Transition) { got = append(got, *x) }, func(Judgement) {})
	end := t0.Add(-7200 * station.Second)
	look := func(s int64, works ...bool) []OverAnswer {
		var list []OverStation
		for i, w := range works {
			o := OverState{At: t0.Add(s * station.Second), End: end}
			if w {
				o.Since = t0
			}
			list = append(list, OverStation{[]string{"a", "b"}[i], o})
		}
		return h.Overtime(list)
	}
	look(0, true, false)
	if a := look(60, true, false); len(a) != 0 || len(got) != 0 {
		t.Errorf("one of two: %+v, %+v", a, got)
	}
	look(70, true, true)
	if a := look(81, true, true); len(got) != 1 || len(a) != 2 || a[0].Until != t0.Add(overUnseen) {
		t.Errorf("both: %+v, %+v", a, got)
	}
	if a := look(90, true, false); len(a) != 1 || a[0].Station != "a" {
		t.Errorf("one of them has stopped, and the finding stands for the other: %+v", a)
	}
}
