package scene

import (
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// serious are the alarms that nothing ordinary may raise.
var serious = []string{"pressure-left", "inlet-pressure-left", "pressure-returned", "pressure-at-work", "work-time-over", "over-pressure", "relief-lifting",
	"outlet-collapse", "outlet-above-set", "outlet-impossible", "sensor-implausible", "sensor-frozen", "piston-stuck"}

// shutDown closes the supply from the start.
func shutDown(s *rig.Spec) { s.Params.Supply.Shut, s.Faults = true, []rig.Fault{{Kind: rig.Vented}} }

// wide makes the governor open so far below set, Pa.
func wide(by float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Params.Governor.Hysteresis, s.Params.Governor.Band = by, 0 }
}

// ungoverned removes the governor, and from the plate what it is set to: the outlet stands where the
// forces balance.
func ungoverned(s *rig.Spec) {
	s.Params.Governor.Without, s.Plate.Set, s.Plate.Required = true, 0, 0
}

// said states in the plate that there is no governor.
func said(s *rig.Spec) { ungoverned(s); s.Plate.Ungoverned = true }

// starvedAtMost returns what is wrong where a station was starved for more than so many s from a second of
// the scene on.
func starvedAtMost(from, most int64) func(*Outcome) []string {
	return func(o *Outcome) []string {
		sum := int64(0)
		for _, i := range o.Intervals {
			if i.State == station.Starved && i.To > second(from) {
				sum += i.To.Sub(max(i.From, second(from)))
			}
		}
		if sum <= most*station.Second {
			return nil
		}
		return []string{fmt.Sprintf("starved for %d s of a piston that waited for its governor, expected at most %d", sum/station.Second, most)}
	}
}

// ordinaryScenes are days on which nothing is wrong.
func ordinaryScenes() []Scene {
	guard := func(name, what string, from, length int64, change ...func(*rig.Spec)) Scene {
		return Scene{Name: name, Event: what, Guard: true, From: from, Never: serious, Course: Course{Station: doubling(change...), Length: length}}
	}
	return []Scene{
		guard("ordinary work", "an hour of ordinary work", 0, 3600),
		guard("jets", "a consumer that takes 12 L/s for 4 s once a minute", 0, 1800, func(s *rig.Spec) {
			s.Rhythm.Flow, s.Rhythm.Period, s.Rhythm.Share, s.Rhythm.Vary = 12e-3, 60, 4./60, 0
		}),
		guard("first use", "a station at which nobody drew for ten minutes, its first, gets a consumer that takes 10 L/s for 20 s once a minute", 0, 1800, quietUntil(10+1./6), func(s *rig.Spec) {
			s.Rhythm.Flow, s.Rhythm.Period, s.Rhythm.Share, s.Rhythm.Vary = 10e-3, 60, 20./60, 0
		}),
		guard("vented by the crew", "the supply is closed and both sides are vented by the crew", event, event+600, grace(60), valve, fault(rig.Vented, event)),
		guard("vented all along", "a station of five readings a second, of whose past nothing is known, stays shut and vented", 0, 1800, shutDown, func(s *rig.Spec) {
			s.Outlet, s.Sensors.Rate, s.Sensors.Noise, s.Sensors.Step = 0, 5, 200, 610
		}),
		{Name: "wide governor", Event: "a governor that opens a tenth below set, and a consumer that draws for three minutes of ten", Guard: true, From: 1800,
			Course: Course{Station: doubling(wide(100e3), every(600, 0.3)), Length: 5400}, Never: append([]string{"starved", "outlet-leak"}, serious...), Also: starvedAtMost(1800, 60)},
		{Name: "no governor", Event: "an hour of ordinary work of a booster without a governor", Guard: true, From: 0,
			Course: Course{Station: doubling(ungoverned), Length: 3600}, Never: append([]string{"header-low"}, serious...)},
		{Name: "no governor, as the plate says", Event: "the same, and the header falls by 80 kPa for forty minutes while little is drawn", Guard: true, From: 0,
			Course: Course{Station: doubling(said, faultOf(rig.HeaderLow, 80e3, 3600, 6000), every(600, 0.05)), Length: 7200}, Never: append([]string{"set-changed", "set-out-of-reach", "starved", "outlet-leak"}, serious...)},
		guard("first fill", "the supply is opened at an empty station", 0, 900, func(s *rig.Spec) { s.Outlet = 0 }),
	}
}
