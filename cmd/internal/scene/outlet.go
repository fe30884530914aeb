package scene

import (
	"fmt"

	"strokewise/cmd/internal/config"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// event is when most events happen: by then the engine knows the station, s.
const event = 600

// fallTime is within how many s a fall that no use explains must be told: a tank of 30 L that loses
// 10 L/s ANR more than it is given falls by 150 kPa in 5 s, and consumers that do as much last
// for some tens of seconds (own choice).
const fallTime = 60

// few is how often a state may change in a minute.
const few = 4

// leftAlarms are those that take the supply for closed.
var leftAlarms = []string{"pressure-left", "inlet-pressure-left"}

// collapse is an outlet that falls while the station is fed.
func collapse(name, what string, length int64, change ...func(*rig.Spec)) Scene {
	return Scene{Name: name, Event: what, From: event, Course: Course{Station: doubling(change...), Length: event + length},
		Due:   []Due{{Alarm: "outlet-collapse", Priority: rules.High, Within: fallTime, Says: []string{"whip"}}},
		Never: leftAlarms, Also: flips(event+60, few)}
}

// outletScenes are those of falls that no use explains.
func outletScenes() []Scene {
	return []Scene{
		collapse("burst hose, 3.8 mm", "a hose bursts: a hole of 3.8 mm, under demand", 1500, faultOf(rig.HoseBurst, 3.8e-3, event, 0)),
		collapse("burst hose, 7 mm", "a hose bursts: a hole of 7 mm, under demand", 1500, faultOf(rig.HoseBurst, 7e-3, event, 0)),
		collapse("burst hose, idle", "a hose bursts: a hole of 3.8 mm, nobody draws", 600, idle, faultOf(rig.HoseBurst, 3.8e-3, event, 0)),
		collapse("dump valve stuck", "the tank's vent valve stands open while the supply is open", 600, fault(rig.DumpStuck, event)),
		{Name: "below 85 % of set", Event: "demand holds the outlet below 85 % of set; the plate states no required pressure",
			From: event, Course: Course{Station: doubling(busy(14)), Length: event + 900},
			Due: []Due{{Alarm: "outlet-low", Priority: rules.Medium, Within: 600, From: 1}}, Never: append([]string{"outlet-collapse"}, leftAlarms...), Also: flips(event, few)},
		jammed("jammed piston, 4:1", "the piston of a station of four times the pressure jams under demand", "press-9"),
		jammed("jammed piston, 1 Hz", "the piston jams at a station of one reading a second", "pack-2"),
	}
}

// jammed is a station of the demonstration whose piston jams. For half a minute it may be thought to work:
// stroking is faster than one stroke in 30 s.
func jammed(name, what, id string) Scene {
	return Scene{Name: name, Event: what, From: event, Course: Course{Station: shown(id, fault(rig.PistonStuck, event)), Length: event + 600},
		Due:   []Due{{Alarm: "piston-stuck", Priority: rules.Medium, Within: 180}},
		Never: append([]string{"outlet-collapse"}, leftAlarms...), Also: all(flips(event+30, few), standsFrom(event+30))}
}

// standsFrom returns what is wrong where a piston that cannot move is said to work after a second of
// the scene.
func standsFrom(s int64) func(*Outcome) []string {
	return func(o *Outcome) []string {
		for _, i := range o.Intervals {
			if i.State.Working() && i.To > second(s) {
				return []string{"a jammed piston is said to work (" + i.State.String() + ") from " + i.From.String() + " to " + i.To.String()}
			}
		}
		return nil
	}
}

// highScenes are those of an outlet that is too high.
func highScenes() []Scene {
	return []Scene{
		{Name: "governor and relief valve stuck", Event: "governor and relief valve stick: the outlet rises to the limit of the forces, 23 % above the relief valve's set; the plate states neither PS nor a hose limit",
			From: event, Course: Course{Station: doubling(idle, set(900e3), relief(1000e3, 0), fault(rig.GovernorStuck, event), fault(rig.ReliefStuck, event)), Length: event + 600},
			Due: []Due{{Alarm: "over-pressure", Priority: rules.High, Within: 20, Stands: true}}},
		{Name: "governor set up", Event: "the outlet stands 8 % above set, more than the governor's band, below every limit",
			From: event, Course: Course{Station: doubling(idle, faultOf(rig.SetHigh, 80e3, event, 0)), Length: event + 1500},
			Due: []Due{{Alarm: "outlet-above-set", Priority: rules.Low, Within: 1200}}},
		{Name: "above what the forces allow", Event: "under demand the outlet's sensor drifts until it reads 37 % above the relief valve's set, 7 % above what the forces allow: the sensor, or the plate, is wrong",
			From: event, Course: Course{Station: doubling(set(980e3), relief(1000e3, 0), grows(rig.SensorOffset, 390e3, event, 600)), Length: event + 900},
			Due: []Due{{Alarm: "outlet-impossible", Priority: rules.Medium, Within: 720, Stands: true}}},
		{Name: "relief valve pops", Event: "a set of 1000 kPa above a relief valve of 960 kPa that pops",
			From: 0, Course: Course{Station: doubling(relief(960e3, 0.05)), Length: 1800},
			Due: []Due{{Alarm: "relief-lifting", Priority: rules.Medium, Within: 900, Says: []string{"never adjust"}}, {Alarm: "set-above-relief", Priority: rules.Finding, Within: 300}}},
		{Name: "relief valve pops, nobody draws", Event: "the same, and nobody draws: it lifts once in eight seconds",
			From: 0, Course: Course{Station: doubling(idle, relief(960e3, 0.05)), Length: 1200},
			Due: []Due{{Alarm: "relief-lifting", Priority: rules.Medium, Within: 900, Stands: true}}},
		{Name: "relief valve pops, jets", Event: "the same, with a consumer that draws for 6 s in each minute",
			From: 0, Course: Course{Station: doubling(every(60, 0.1), relief(960e3, 0.05)), Length: 1800},
			Due: []Due{{Alarm: "relief-lifting", Priority: rules.Medium, Within: 900, Stands: true}}},
		{Name: "relief valve simmers", Event: "a set of 1000 kPa above a relief valve of 960 kPa that opens in proportion, nobody draws",
			From: 0, Course: Course{Station: doubling(idle, relief(960e3, 0)), Length: 900},
			Due: []Due{{Alarm: "relief-lifting", Priority: rules.Medium, Within: 600}, {Alarm: "set-above-relief", Priority: rules.Finding, Within: 300}}, Also: entered},
	}
}

// entered returns what is wrong where the configuration of a set above its relief valve is refused.
func entered(*Outcome) []string {
	const text = `
sites: [{ id: northdock, zone: UTC }]
stations:
  - { id: press-4, site: northdock, booster: { set_pressure: 1000 kPa }, tank: { relief_pressure: 960 kPa } }
`
	if _, err := config.Parse([]byte(text), "odd.yaml", config.Options{NoBroker: true}); err != nil {
		return []string{"the configuration is refused: " + err.Error()}
	}
	return nil
}

// leakScenes are those of air that is lost on a working station.
func leakScenes() []Scene {
	const hole = 3e-9 // m³/(s·Pa): 0.3 dm³/(s·bar)
	return []Scene{
		{Name: "leak under demand", Event: "a leak of 195 L/min at a station that works after a quiet start (`rig fault press-4 outlet-leak --level 0.3`), after five like days",
			From:   event,
			Course: Course{Station: doubling(quietUntil(10+5./60), faultOf(rig.OutletLeak, hole, event, 0)), Days: []int64{7, 6, 5, 4, 3}, Day: 1500, Length: event + 1560, Watch: leakBound(hole*1.0e6, event, 120)},
			Due:    []Due{{Alarm: "demand-step", Priority: rules.Finding, Within: 1500}}},
	}
}

// lastBelieved returns what is wrong where the text of pressure-left takes what nobody believed for what
// was last seen: at least so many Pa gauge were in the tank.
func lastBelieved(least float64) func(*Outcome) []string {
	return func(o *Outcome) []string {
		for i := range o.Transitions {
			t := &o.Transitions[i]
			if t.Alarm != rules.PressureLeft || !raised(t) {
				continue
			}
			for _, e := range t.Evidence {
				if e.Unit == "Pa gauge" && e.Value > 0 && e.Value < least {
					return []string{"the evidence of pressure-left has " + e.Name + " at " + fmt.Sprintf("%.0f kPa", e.Value/1e3)}
				}
				if e.Unit == "Pa gauge" && e.Value >= least {
					return nil
				}
			}
			return []string{"the evidence of pressure-left has no pressure that was believed last"}
		}
		return []string{"pressure-left was not raised"}
	}
}
