package scene

import (
	"fmt"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
	"strokewise/collector/rig/model"
)

// Hours of the week's plant, s after midnight. The calendar has two shifts of eight hours that meet.
const (
	hour      = 3600
	wholeDay  = 24 * hour
	shiftFrom = 6 * hour
	shiftTo   = 22 * hour
	opensAt   = shiftFrom + 60  // when the crew opens the supply
	closesAt  = shiftTo + 600   // when it closes the supply and vents
	forgotten = shiftTo + 45*60 // when somebody vents what was left
	lateUntil = 23*hour + 1800  // of overtime
	lateClose = lateUntil + 600 // when it is closed and vented after that
	workdays  = 5               // Monday to Friday
)

// runs are the hours in which consumers draw. The week is thinner than a plant's: the station stands
// at set for the rest of its shifts, since steady work costs most of the time that it takes to play.
var runs = []rig.Hours{{From: 6.25, To: 7, Weekdays: true}, {From: 9.75, To: 10.75, Weekdays: true}, {From: 14, To: 14.75, Weekdays: true}, {From: 21.25, To: 22, Weekdays: true}}

// weekRate is the most samples a second of the week's sensors, as gateways publish.
const weekRate = 5

// habit is what becomes of a station after its shift.
type habit uint8

const (
	vents  habit = iota // the crew closes the supply and vents both sides
	holds               // stays open and charged by intent, as the calendar of its plate says
	closes              // the crew closes the supply; the tank is left to somebody who vents it
)

// worker is a station of the week's plant.
type worker struct {
	id    string
	spec  rig.Spec
	habit habit
	kind  string
	late  bool // works overtime
}

// crowd draws n stations from a case of the tune set on, every third on each of three headers.
func crowd(first, n int) []worker {
	out := make([]worker, n)
	for i := range out {
		c := draw.Draw(draw.Tune, first+i)
		s := c.Spec
		s.Plate.Key = station.Key{Site: site, Station: fmt.Sprintf("station-%d", i)}
		s.Plate.Header = fmt.Sprintf("header-%d", i%3)
		s.Plate.Branch = c.Kind
		s.Params.Supply.Header.Trip, s.Faults, s.Outlet = model.Trip{}, nil, 0
		s.Params.Coarse = 0.1
		s.Rhythm.Zone, s.Rhythm.Shifts = time.UTC, runs
		s.Sensors.Rate, s.Sensors.Valve, s.Sensors.Flow = min(s.Sensors.Rate, weekRate), i%2 == 0, false
		s.Sensors.Counter, s.Sensors.Gaps = true, rig.Gaps{}
		w := worker{id: s.Plate.Key.Station, kind: c.Kind, late: i%5 < 2}
		if i%4 == 3 {
			w.habit = holds
		}
		cal := calendar(shiftFrom/60, shiftTo/60)
		cal.Shifts[0].Days = [7]bool{time.Monday: true, time.Tuesday: true, time.Wednesday: true, time.Thursday: true, time.Friday: true}
		cal.Hold = w.habit == holds
		s.Plate.Calendar = cal.Text()
		if w.habit == holds {
			s.Outlet = s.Params.Governor.SetGauge
		}
		s.Params.Supply.Shut = w.habit != holds // the week begins after a weekend
		w.spec = s
		out[i] = w
	}
	return out
}

// evening returns what becomes of a station on an evening: one of twelve that are vented as a rule is
// left charged, another one each day.
func (w *worker) evening(day, i int) habit {
	if w.habit == vents && (i+5*day)%12 == 0 {
		return closes
	}
	return w.habit
}

// overtime reports whether a station works late on a day: on Tuesday and Thursday.
func (w *worker) overtime(day int) bool { return w.late && (day == 1 || day == 3) }

// fault adds a fault to the station's spec, in s after the week's start.
func (w *worker) fault(k rig.Kind, level float64, from, until int64) {
	faultOf(k, level, from, until)(&w.spec)
}

// nights closes and opens the supply as crew and habit ask, and returns what is due and what people
// say.
func (w *worker) nights(i, days int, p *plan) {
	closed := int64(0) // since when the supply is closed
	worded := false    // somebody said that both sides are vented
	for d := range days {
		at := int64(d) * wholeDay
		if d >= workdays {
			break
		}
		if w.habit != holds {
			w.fault(rig.Vented, 1, closed, at+opensAt)
		}
		if worded { // the word stands until the crew takes it back, before it opens the supply
			p.say(i, at+opensAt-120, station.Command{Kind: "work-ended", By: "the crew", Note: "all clear, opening the supply"})
			worded = false
		}
		closed = at + closesAt
		if w.overtime(d) {
			closed = at + lateClose
			p.set(at+shiftTo-hour, func(v *rig.Station) { v.Rhythm.Shifts = append(slices.Clone(runs), rig.Hours{From: 22, To: 23.5}) }, i)
			p.set(at+wholeDay-60, func(v *rig.Station) { v.Rhythm.Shifts = runs }, i)
		}
		switch w.evening(d, i) {
		case closes:
			w.fault(rig.Shutdown, 1, closed, closed+forgotten-closesAt)
			p.due(i, "pressure-left", closed, closed+forgotten-closesAt, "left charged")
			p.may(i, "inlet-pressure-left", closed, closed+forgotten-closesAt+slackTime, "left charged")
			closed += forgotten - closesAt
			p.say(i, closed+300, station.Command{Kind: "vented", By: "the guard", Note: "gauges of both sides read zero"})
			worded = true
		case vents:
			if i%2 == 0 {
				p.say(i, closed+300, station.Command{Kind: "vented", By: "the crew", Note: "gauges of both sides read zero"})
				worded = true
			}
		}
	}
	if w.habit != holds {
		w.fault(rig.Vented, 1, closed, int64(days)*wholeDay+hour)
	}
}
