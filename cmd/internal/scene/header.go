package scene

import (
	"fmt"

	"strokewise/collector/rig"
	"strokewise/rules"
)

// Times of a header that is lowered under idle stations, s.
const (
	lowered  = 240  // it falls by 150 kPa
	returns  = 1200 // and is back
	lowGrace = 60   // grace time of the stations
)

// headerScenes are those of a header with many stations.
func headerScenes() []Scene {
	low := Due{Alarm: rules.HeaderLow, Priority: rules.Medium, Within: 60}
	return []Scene{
		{Name: "header lowered, idle", Event: "a header with twelve idle stations is lowered by 150 kPa for a quarter of an hour", From: lowered,
			Plant: func(p *Plant) { lowHeader(p, 12) }, Due: []Due{low}, Never: leftAlarms},
		{Name: "header lowered, one shut in", Event: "the same; at one station the supply is closed at the same time and its line vented, the tank stays charged", From: lowered,
			Plant: func(p *Plant) { lowHeader(p, 12, fault(rig.Shutdown, lowered)) },
			Due:   []Due{low, {Alarm: rules.PressureLeft, Priority: rules.High, Within: lowGrace + 10, Stands: true}}, Also: onlyLast},
		{Name: "header returns, one stays behind", Event: "the same; at one station the supply is closed while the header is low, and its line holds the low pressure", From: lowered,
			Plant: func(p *Plant) { lowHeader(p, 12, fault(rig.Trapped, lowered+300)) },
			Due:   []Due{low, {Alarm: rules.PressureLeft, Priority: rules.High, From: returns, Within: 60, Stands: true}}, Also: onlyLast},
		{Name: "header lowered under a few idle stations", Event: "a header is lowered by 150 kPa; nine of its stations stroke on, three are idle", From: lowered,
			Plant: func(p *Plant) { lowHeader(p, 3) }, Due: []Due{low}, Never: leftAlarms},
	}
}

// lowHeader plays twelve stations of a header that is lowered and returns. The last so many are idle, and
// changes are those of the very last.
func lowHeader(p *Plant, idles int, last ...func(*rig.Spec)) {
	var specs []rig.Spec
	for i := range 12 {
		s := doubling(named(fmt.Sprintf("press-%02d", i)), grace(lowGrace), every(10+float64(i), 0.4))
		if i >= 12-idles {
			idle(&s)
		}
		if i == 11 {
			for _, c := range last {
				c(&s)
			}
		}
		faultOf(rig.HeaderLow, 150e3, lowered, returns)(&s)
		s.Seed, s.Sensors.Rate = uint64(i), 10
		specs = append(specs, s)
	}
	p.Begin(ahead, specs...)
	p.Play(returns + 300)
}

// onlyLast returns what is wrong where pressure-left was raised at any station but the last.
func onlyLast(o *Outcome) (wrong []string) {
	for i := range o.Transitions {
		if t := &o.Transitions[i]; t.Alarm == rules.PressureLeft && raised(t) && t.Key.Station != "press-11" {
			wrong = append(wrong, fmt.Sprintf("pressure-left was raised at %s after %s, which follows its header: %s", t.Key.Station, after(lowered, t), t.Message))
		}
	}
	return wrong
}
