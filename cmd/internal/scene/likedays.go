package scene

import (
	"strokewise/collector/rig"
	"strokewise/rules"
)

// likeDays are ten working days before Start: two weeks.
var likeDays = []int64{14, 13, 12, 11, 10, 7, 6, 5, 4, 3}

// overAnHour is an hour and a little more, s: an hour is compared once it is over.
const overAnHour = 3620

// pulses lets consumers draw 6 L/s ANR for a share of every half minute, more or less by a fifth. They pause for longer than
// the five seconds over which a steady draw is taken.
func pulses(share float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Rhythm.Period, s.Rhythm.Share, s.Rhythm.Vary = 30, share, 0.2 }
}

// likeDayScenes are those of an hour against the same hour of like days.
func likeDayScenes() []Scene {
	course := func(since func(*rig.Spec)) Course {
		return Course{Station: shown("pack-2", pulses(0.3)), Days: likeDays, Day: overAnHour, Since: since, Length: overAnHour}
	}
	return []Scene{
		{Name: "new consumer that pauses", Event: "after ten like days consumers draw twice as long in each half minute; they pause, so that no steady draw rises",
			Course: course(pulses(0.6)),
			Due:    []Due{{Alarm: rules.RateStep, Priority: rules.Finding, Within: overAnHour, Says: []string{"strokes", "l/min anr more air"}, Stands: true}},
			Never:  []string{"demand-step", "outlet-collapse", "outlet-leak"}},
		{Name: "one more like day", Event: "after ten like days an eleventh", Guard: true, Course: course(nil), Never: []string{rules.RateStep, "demand-step"}},
	}
}
