package scene

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// ahead is the time, s, at which readings of a running program begin before the clock; below zero they
// run ahead of it, so that what goes by event time does so however slow the machine is.
const ahead = -600

// named returns a change of a station's name.
func named(id string) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Plate.Key.Station = id }
}

// charged is a station that is shut down at 30 s and stays charged; pressure-left is due at 50 s.
func charged(id string, change ...func(*rig.Spec)) rig.Spec {
	return doubling(append([]func(*rig.Spec){named(id), idle, valve, grace(20), fault(rig.Shutdown, 30)}, change...)...)
}

// runningScenes are those of a running program: restarts, other stations in force, words, overtime.
func runningScenes() []Scene {
	left := Due{Alarm: "pressure-left", Priority: rules.High, From: 30, Within: 30, Stands: true}
	return []Scene{
		{Name: "restart, publisher off", Event: "a publisher is off, signal-lost stands at two stations, one acknowledged; the program is started again", From: 60,
			Plant: func(p *Plant) { lost(p, false) }, Also: lostOnce},
		{Name: "takeover, publisher off", Event: "the same, and another machine takes over with log and history alone", From: 60,
			Plant: func(p *Plant) { lost(p, true) }, Also: lostOnce},
		{Name: "renamed with an open alarm", Event: "pressure-left stands, and the station is renamed in the configuration",
			Plant: func(p *Plant) { gone(p, charged("press-9b")) }, Due: []Due{left}},
		{Name: "removed with an open alarm", Event: "pressure-left stands, and the station is taken out of the configuration",
			Plant: func(p *Plant) { gone(p) }, Due: []Due{left}},
		{Name: "words refused", Event: "`vented` and `close` are said while a live sensor reads 990 kPa",
			Plant: wordsRefused, Due: []Due{left}},
		{Name: "falls after the raise", Event: "the outlet falls after pressure-left was raised; the page is read",
			Plant: fallsOnThePage, Due: []Due{left}},
		{Name: "overtime", Event: "eight stations are at work after the calendar's end, two are idle and charged", From: shiftEnds,
			Plant: overtime, Due: []Due{{Alarm: "over-time", Priority: rules.Finding, Within: 300}}, Also: idleOnly},
	}
}

// lost silences two stations, acknowledges one signal-lost, and starts the program again.
func lost(p *Plant, forget bool) {
	p.Begin(120, doubling(named("press-1"), idle), doubling(named("press-2"), idle))
	p.Play(60)
	p.Wait(-10)
	if ok, answer := p.Say("press-1", word{Kind: "acknowledge", Alarm: rules.SignalLost}); !ok {
		p.Wrong("acknowledging signal-lost: %s", answer)
	}
	p.Restart(forget)
	p.Wait(5)
	p.Wait(60)
}

// lostOnce returns what is wrong where signal-lost did not go on over a start: raised once at each
// station, acknowledged at one, and never ended, for nothing was heard.
func lostOnce(o *Outcome) (wrong []string) {
	raises, acknowledged := map[string]int{}, 0
	for i := range o.Transitions {
		t := &o.Transitions[i]
		switch {
		case t.Alarm != rules.SignalLost:
		case raised(t):
			raises[t.Key.Station]++
		case t.To == rules.Acknowledged:
			acknowledged++
		case !t.To.Active():
			wrong = append(wrong, fmt.Sprintf("signal-lost of %s ended, and nothing was heard: %s", t.Key.Station, t.Message))
		}
	}
	for _, id := range []string{"press-1", "press-2"} {
		if raises[id] != 1 {
			wrong = append(wrong, fmt.Sprintf("signal-lost of %s was raised %d times, expected once", id, raises[id]))
		}
	}
	if acknowledged != 1 {
		wrong = append(wrong, fmt.Sprintf("%d acknowledgements, expected one", acknowledged))
	}
	return wrong
}

// gone removes a charged station from the configuration, in favour of others, and has its alarm
// closed.
func gone(p *Plant, others ...rig.Spec) {
	stays := doubling(named("press-1"), idle)
	p.Begin(ahead, stays, charged("press-9"))
	p.Play(90)
	p.Reload(append([]rig.Spec{stays}, others...)...)
	p.Play(30)
	page, metrics, audit := p.Page("/"), p.Page("/metrics"), p.Page("/audit")
	if !near(page, "no longer configured", "press-9", 3000) {
		p.Wrong("the page of stations does not list press-9 as no longer configured")
	}
	if !near(metrics, `strokewise_alarm_active{alarm="pressure-left"`, `station="press-9"`, 200) {
		p.Wrong("no metric of the open alarm")
	}
	if !near(audit, "press-9", "configur", 300) {
		p.Wrong("no line of the audit says that press-9 is no longer configured")
	}
	p.Restart(false)
	if !near(p.Page("/"), "no longer configured", "press-9", 3000) {
		p.Wrong("after a restart press-9 is not listed any more")
	}
}

// wordsRefused plays words that a live sensor contradicts.
func wordsRefused(p *Plant) {
	p.Begin(ahead, charged("press-9"))
	p.Play(90)
	for _, w := range []word{{Kind: "vented", Why: "gauge reads 0"}, {Kind: "close", Alarm: "pressure-left", Cause: "leak", Why: "gauge reads 0"}} {
		if ok, answer := p.Say("press-9", w); ok {
			p.Wrong("%s is answered as taken while the outlet reads 990 kPa: %s", w.Kind, answer)
		}
	}
	page := p.Page("/station/" + site + "/press-9")
	if strings.Contains(page, "gauge reads 0") && !near(page, "gauge reads 0", "refused", 300) {
		p.Wrong("the station's page shows a refused word as a fact")
	}
}

var readsNow = regexp.MustCompile(`(\d+)( kPa)?( gauge)? now`)

// fallsOnThePage lets the outlet fall by 25 kPa a minute after the raise, and reads the page.
func fallsOnThePage(p *Plant) {
	p.Begin(ahead, charged("press-9", faultOf(rig.OutletLeak, 1.2e-10, 60, 0)))
	p.Play(300)
	if !readsNow.MatchString(p.Page("/station/" + site + "/press-9")) {
		p.Wrong("the station's page does not hold what the outlet reads now beside the alarm")
	}
}

// shiftEnds is when the shift of overtime ends, s.
const shiftEnds = 300

// overtime plays ten stations over the end of their shift: it ends after five minutes, and the grace
// time is one minute.
func overtime(p *Plant) {
	start := station.InstantOf(time.Now()).Floor(station.Minute60).Add(-ahead * station.Second)
	at := start.Time().UTC()
	end := (at.Hour()*60 + at.Minute() + shiftEnds/60) % (24 * 60)
	c := calendar((end+12*60)%(24*60), end)
	c.Grace = 1
	var specs []rig.Spec
	for i := range 10 {
		s := doubling(named(fmt.Sprintf("press-%d", i)), every(10+float64(i), 0.4))
		if i >= 8 {
			idle(&s)
		}
		s.Plate.Calendar, s.Seed, s.Sensors.Rate = c.Text(), uint64(i), 10
		specs = append(specs, s)
	}
	p.beginAt(start, specs...)
	p.Play(shiftEnds + 1200)
}

// idleOnly returns what is wrong where pressure-left was raised at a station that works, or not at both
// that are idle.
func idleOnly(o *Outcome) (wrong []string) {
	work, idle := 0, map[string]bool{}
	for i := range o.Transitions {
		t := &o.Transitions[i]
		switch {
		case t.Alarm != rules.PressureLeft || !raised(t):
		case t.Key.Station < "press-8":
			work++
		default:
			idle[t.Key.Station] = true
		}
	}
	if work > 0 {
		wrong = append(wrong, fmt.Sprintf("pressure-left was raised at %d stations that are at work", work))
	}
	if len(idle) != 2 {
		wrong = append(wrong, fmt.Sprintf("pressure-left was raised at %d of two stations that are idle and charged", len(idle)))
	}
	return wrong
}

// every makes the consumers draw for a share of a period, s.
func every(period, share float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Rhythm.Period, s.Rhythm.Share = period, share }
}
