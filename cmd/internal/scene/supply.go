package scene

import (
	"strokewise/collector/rig"
	"strokewise/rules"
)

// supplyScenes are those of a header that falls.
func supplyScenes() []Scene {
	return []Scene{
		{Name: "header lowered, idle then stroking", Event: "the header is lowered by 150 kPa while the piston stands; the inlet reads 490 kPa and the station strokes on",
			From: event, Course: Course{Station: doubling(every(40, 0.2), faultOf(rig.HeaderLow, 150e3, event, 0)), Length: event + 900},
			Never: leftAlarms},
		{Name: "header low, never stands", Event: "the header is 150 kPa low for five minutes while the piston never stands",
			From: event, Course: Course{Station: doubling(busy(5), faultOf(rig.HeaderLow, 150e3, event, event+300)), Length: event + 480},
			Due: []Due{{Alarm: rules.HeaderLow, Priority: rules.Medium, Within: 300}}, Never: leftAlarms},
	}
}

// every makes the consumers draw for a share of a period, s.
func every(period, share float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Rhythm.Period, s.Rhythm.Share = period, share }
}
