package scene

import (
	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// happening is something that goes wrong in the week.
type happening struct {
	at   int64
	make func(p *plan, at int64)
}

// slackTime is how long after its cause has ended an alarm may still come that it explains, s: delays of
// the catalogue are up to five minutes.
const slackTime = 600

// follows are alarms that a burst, a jam or a low header makes true at a station besides the one that is due.
var follows = []string{"outlet-low", "starved", "charge-slow", "header-low", "supply-undersized", "outlet-leak"}

// breaks makes a fault of a station that is due to raise an alarm, and ends it after so many s.
func breaks(i int, k rig.Kind, level float64, alarm string, seconds int64, also ...string) func(*plan, int64) {
	return func(p *plan, at int64) {
		if i >= len(p.workers) {
			return
		}
		p.workers[i].fault(k, level, at, at+seconds)
		p.due(i, alarm, at, at+seconds+slackTime, k.String())
		for _, a := range also {
			p.may(i, a, at, at+seconds+slackTime, k.String())
		}
	}
}

// design makes what a kind of station stands for begin, for the rest of the week.
func design(kind string, k rig.Kind, level float64, alarm string) func(*plan, int64) {
	return func(p *plan, at int64) {
		if i := p.kindOf(kind); i >= 0 {
			p.workers[i].fault(k, level, at, 0)
			p.due(i, alarm, at, p.length, kind)
			for _, a := range []string{"outlet-leak", "outlet-above-set", "over-pressure", "relief-lifting"} {
				p.may(i, a, at, p.length, kind)
			}
		}
	}
}

// trip lowers a header for so many s.
func trip(header int, fall float64, seconds int64) func(*plan, int64) {
	return func(p *plan, at int64) {
		hanging := 0
		for i := range p.workers {
			if i%3 != header {
				continue
			}
			hanging++
			p.workers[i].fault(rig.HeaderLow, fall, at, at+seconds)
			for _, a := range follows {
				p.may(i, a, at, at+seconds+2*slackTime, "header trip")
			}
		}
		p.truth = append(p.truth, window{"header:" + p.workers[header].spec.Plate.Header, "header-low", at, at + seconds + slackTime, hanging >= rules.UsualHeader.Least, "header trip"})
	}
}

// events are what goes wrong from Monday on, besides the evenings.
var events = []happening{
	{at(0, 9.8), breaks(2, rig.HoseBurst, 5e-3, "outlet-collapse", 1200, follows...)},
	{at(0, 10), design("leak", rig.OutletLeak, 2e-9, "outlet-leak")},
	{at(0, 14.1), trip(0, 300e3, 600)},
	{at(1, 9), breaks(13, rig.SensorFrozen, 1, "sensor-frozen", 3*hour)},
	{at(1, 9.8), breaks(16, rig.PistonStuck, 1, "piston-stuck", 1800, follows...)},
	{at(1, 10), design("relief-pops", rig.SetHigh, 400e3, "relief-lifting")},
	{at(2, 3), restarts},
	{at(2, 5.5), opensEarly(8)},
	{at(2, 13), breaks(14, rig.WrongUnit, 0.01, "sensor-implausible", hour)},
	{at(2, 14.1), breaks(6, rig.DumpStuck, 1, "outlet-collapse", 600, follows...)},
	{at(3, 8), renames(10)},
	{at(3, 9.8), trip(1, 150e3, 1800)},
	{at(3, 12), works(4, 12, 13, 12.8, -1)},
	{at(4, 9), works(5, 9, 10, 10.4, -1)},
	{at(4, 11), works(9, 11, 12.5, 12.4, 11.5)},
	{at(4, 12), restarts},
	{at(4, 12.5), silent(15, 3*hour)},
}

// restarts starts the program again.
func restarts(p *plan, at int64) {
	p.actions = append(p.actions, action{at, func(q *Plant) { q.Restart(false) }})
}

// renames plans another name of a station.
func renames(i int) func(*plan, int64) {
	return func(p *plan, at int64) {
		if i >= len(p.workers) {
			return
		}
		was := p.workers[i].id
		p.actions = append(p.actions, action{at, func(q *Plant) { q.rename(i, was+"-new") }})
		for _, w := range p.truth { // what is true of the station stays true
			if w.station == was {
				w.station += "-new"
				w.due = false
				p.truth = append(p.truth, w)
			}
		}
	}
}

// opensEarly opens the supply of a vented station half an hour before its shift, by mistake.
func opensEarly(i int) func(*plan, int64) {
	return func(p *plan, at int64) {
		if i >= len(p.workers) {
			return
		}
		p.workers[i].opens(at)
		p.due(i, "pressure-returned", at, at+slackTime, "opened early")
		for _, a := range leftAlarms {
			p.may(i, a, at, at+slackTime, "opened early")
		}
	}
}

// opens ends the faults that hold the supply closed at a time.
func (w *worker) opens(at int64) {
	for k := range w.spec.Faults {
		if f := &w.spec.Faults[k]; f.Kind == rig.Vented && f.From <= second(at) && f.Until > second(at) {
			f.Until = second(at)
		}
	}
}

// silent stops a station's publisher.
func silent(i int, seconds int64) func(*plan, int64) {
	return func(p *plan, at int64) {
		if i >= len(p.workers) {
			return
		}
		p.workers[i].fault(rig.SensorDropped, 1, at, at+seconds)
		p.set(at, func(v *rig.Station) { v.Sensors.Counter = false }, i)
		p.set(at+seconds, func(v *rig.Station) { v.Sensors.Counter = true }, i)
		p.due(i, "signal-lost", at, at+seconds, "publisher off")
	}
}

// works lets people work at a station, shut and vented, from and until hours of the day; they end at an
// hour, and at another one, unless below 0, the supply is opened by mistake.
func works(i int, from, until, ends, opened float64) func(*plan, int64) {
	return func(p *plan, at int64) {
		if i >= len(p.workers) {
			return
		}
		day := at - at%wholeDay
		h := func(x float64) int64 { return day + int64(x*hour) }
		closed := h(ends) + 120
		if opened >= 0 {
			p.workers[i].fault(rig.Vented, 1, h(from), h(opened))
			p.due(i, "pressure-at-work", h(opened), h(opened)+60, "opened at work")
			p.may(i, "pressure-returned", h(opened), h(opened)+60, "opened at work")
		} else {
			p.workers[i].fault(rig.Vented, 1, h(from), closed)
		}
		p.say(i, h(from)+120, station.Command{Kind: "at-work", By: "Ada", Note: "seals", Until: station.Instant(h(until) * station.Second)})
		p.say(i, h(ends), station.Command{Kind: "work-ended", By: "Ada", Note: "tools counted"})
		if ends > until {
			p.due(i, "work-time-over", h(until), h(ends), "nobody ended it")
		}
	}
}
