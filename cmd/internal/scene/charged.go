package scene

import (
	"fmt"
	"regexp"
	"strconv"

	"strokewise/collector/rig"
	"strokewise/rules"
)

// chargedScenes are those of air that is left.
func chargedScenes() []Scene {
	left := Due{Alarm: "pressure-left", Priority: rules.High, Within: 75, Stands: true}
	return []Scene{
		{Name: "gauge line bled down", Event: "shut down and charged, pressure-left stands; the gauge line is bled down behind its closed cock, the tank and the inlet stay charged",
			From: event, Course: Course{Station: doubling(idle, valve, grace(60), fault(rig.Trapped, event), faultOf(rig.GaugeBled, 3, event+300, 0)), Length: event + 900},
			Due: []Due{left}},
		{Name: "charged and silent", Event: "shut down and charged; then nothing is heard of the station",
			From: event, Course: Course{Station: doubling(idle, valve, grace(60), uncounted, fault(rig.Trapped, event), faultOf(rig.SensorDropped, 1, event+300, 0), silentValve), Length: event + 500},
			Due: []Due{left, {Alarm: "signal-lost", Priority: rules.Medium, From: event + 300, Within: 45}}},
		{Name: "wrong unit, then shut down", Event: "pressures come in a wrong unit, then the station is shut down: 990 kPa were believed last, 10 kPa never",
			From: event, Course: Course{Station: doubling(idle, valve, grace(60), fault(rig.WrongUnit, event), fault(rig.Shutdown, event+60)), Length: event + 300},
			Due: []Due{{Alarm: "pressure-left", Priority: rules.High, From: event + 60, Within: 75, Stands: true}}, Also: lastBelieved(900e3)},
		{Name: "falls after the raise", Event: "shut down and charged; the outlet falls by 4 kPa a minute after the raise, and people are reminded",
			From: event, Course: Course{Station: doubling(idle, valve, grace(60), fault(rig.Shutdown, event), faultOf(rig.OutletLeak, 1.84e-11, event, 0)), Length: event + 3900},
			Due: []Due{left}, Also: remindsOfNow},
	}
}

// uncounted takes the counter away, so that a station can fall silent.
func uncounted(s *rig.Spec) { s.Sensors.Counter = false }

// silentValve takes the signal of the valve away: the shutdown is told by the inlet.
func silentValve(s *rig.Spec) { s.Sensors.Valve = false }

var kilopascals = regexp.MustCompile(`(\d+) kPa|(\d+) now`)

// remindsOfNow returns what is wrong where a reminder an hour after the raise, when the outlet has
// fallen by 4 kPa a minute, does not hold the present reading: by the leak's law 240 kPa of 985 in an
// hour, a tenth less for what is lost meanwhile.
func remindsOfNow(o *Outcome) []string {
	var raise, newest *rules.Transition
	for i := range o.Transitions {
		t := &o.Transitions[i]
		switch {
		case t.Alarm != rules.PressureLeft:
		case raised(t):
			raise = t
		case raise != nil && t.At > raise.At:
			newest = t
		}
	}
	if newest == nil {
		return []string{"nobody was reminded of pressure-left within an hour"}
	}
	for _, m := range kilopascals.FindAllStringSubmatch(newest.Message, -1) {
		if x, err := strconv.Atoi(m[1] + m[2]); err == nil && x > 720 && x < 820 {
			return nil
		}
	}
	return []string{fmt.Sprintf("the reminder does not hold the present reading of some 770 kPa: %s", newest.Message)}
}
