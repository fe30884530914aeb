package scene

import (
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
			From: event, Course: Course{Station: doubling(idle, grace(60), uncounted, fault(rig.Shutdown, event), faultOf(rig.SensorDropped, 1, event+300, 0)), Length: event + 500},
			Due: []Due{left, {Alarm: "signal-lost", Priority: rules.Medium, From: event + 300, Within: 45}}},
		{Name: "wrong unit, then shut down", Event: "pressures come in a wrong unit, then the station is shut down: 990 kPa were believed last, 10 kPa never",
			From: event, Course: Course{Station: doubling(idle, valve, grace(60), fault(rig.WrongUnit, event), fault(rig.Shutdown, event+60)), Length: event + 300},
			Due: []Due{{Alarm: "pressure-left", Priority: rules.High, From: event + 60, Within: 75, Stands: true}}, Also: lastBelieved(900e3)},
	}
}

// uncounted removes the counter, so that a station can fall silent.
func uncounted(s *rig.Spec) { s.Sensors.Counter = false }
