package scene

import (
	"strokewise/collector/rig"
	"strokewise/rules"
)

// supplyScenes are those of a header that falls.
func supplyScenes() []Scene {
	return []Scene{
		{Name: "header lowered, strokes go on", Event: "the header is lowered by 150 kPa; the inlet reads 490 kPa and the station, which has no counter, strokes on",
			From: event, Course: Course{Station: doubling(uncounted, faultOf(rig.HeaderLow, 150e3, event, 0)), Length: event + 900},
			Never: leftAlarms},
		{Name: "header low, never stands", Event: "the header is 150 kPa low for five minutes while the piston never stands",
			From: event, Course: Course{Station: doubling(busy(7), faultOf(rig.HeaderLow, 150e3, event, event+300)), Length: event + 480},
			Due: []Due{{Alarm: rules.HeaderLow, Priority: rules.Medium, Within: 300}}, Never: leftAlarms},
		{Name: "header falls by a seventh, idle", Event: "a compressor drops out while the piston of a station that is alone at its header stands: the header falls by 90 kPa of 640 in 10 s and stays there",
			From: event, Course: Course{Station: doubling(idle, grace(60), grows(rig.HeaderLow, 90e3, event, 10)), Length: event + 1500},
			Due: []Due{{Alarm: rules.SupplyUnclear, Priority: rules.Low, Within: 120}}, Never: leftAlarms},
		{Name: "opened as usual, 5 Hz", Event: "a station of five readings a second that was shut and vented is opened as on every morning, and the valve's signal says so",
			From: 1500, Course: Course{Station: doubling(valve, func(s *rig.Spec) { s.Sensors.Rate = 5 }, faultOf(rig.Vented, 0, 300, 1500)), Length: 1800}, Never: leftAlarms},
	}
}
