package scene

import (
	"strokewise/collector/rig"
	"strokewise/rules"
)

// The supply is shut and both sides are vented from shutAt to openAt; people may be at work between.
const (
	shutAt  = 300
	saidAt  = 600
	openAt  = 900
	atOnce  = 2 // s of event time within which people at a line must be warned
	noTimer = 5000
)

// opened is a station that is shut and vented, and opened again by mistake.
func opened(said []Said, change ...func(*rig.Spec)) Course {
	change = append([]func(*rig.Spec){grace(60), faultOf(rig.Vented, 0, shutAt, openAt)}, change...)
	return Course{Station: doubling(change...), Length: openAt + 60, Said: said}
}

// atWorkScenes are those of pressure that returns to people.
func atWorkScenes() []Scene {
	back := []Due{{Alarm: "pressure-returned", Priority: rules.High, Within: atOnce}}
	rises := []Due{{Alarm: "pressure-at-work", Priority: rules.High, Within: atOnce, Says: []string{"lock"}}}
	return []Scene{
		{Name: "opened after vented, valve signal", Event: "supply shut, both sides vented, a person said `vented`; the supply is opened again (with the valve's signal)",
			From: openAt, Course: opened([]Said{vented(saidAt)}, valve), Due: back},
		{Name: "opened after vented", Event: "the same without the valve's signal",
			From: openAt, Course: opened([]Said{vented(saidAt)}), Due: back},
		{Name: "opened at work", Event: "people declared at work on a vented station; the supply is opened",
			From: openAt, Course: opened([]Said{atWork(saidAt, noTimer)}), Due: rises},
		{Name: "opening signal at work", Event: "people declared at work, the header is empty; the valve's signal says open",
			From: openAt, Course: opened([]Said{atWork(saidAt, noTimer)}, valve, faultOf(rig.HeaderLow, 640e3, 600, 0)), Due: rises},
		{Name: "declared time over", Event: "the declared time of work is over, and nobody ended it",
			From: 800, Course: opened([]Said{atWork(saidAt, 800)}),
			Due: []Due{{Alarm: "work-time-over", Priority: rules.Medium, Within: 10, Stands: true}}},
		{Name: "opened after work ended", Event: "people declared at work, and ended by a word before the supply is opened",
			From: openAt, Course: opened([]Said{atWork(saidAt, noTimer), workEnded(800)}), Never: []string{"pressure-at-work", "work-time-over"}},
		outOfShift(),
	}
}

// outOfShift is a station that live sensors saw vented after its shift, and that is opened before the
// calendar's grace is over.
func outOfShift() Scene {
	c := opened(nil, shifts(6*60, 10*60+2)) // the shift ends 120 s after Start
	return Scene{Name: "opened after the shift", Event: "after the shift live sensors saw the station vented; the supply is opened again, and nobody said a word",
		From: openAt, Course: c, Due: []Due{{Alarm: "pressure-returned", Priority: rules.High, Within: atOnce}}}
}
