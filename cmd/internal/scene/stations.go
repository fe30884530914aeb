package scene

import (
	"fmt"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// rate is how many samples a second the sensors of scenes take: strokes of the stations last 0.3 s
// and more.
const rate = 20

// doubling returns a healthy doubling station: set 1000 kPa gauge, header 640, relief valve 1250,
// tank 30 L, consumers that draw 6 L/s ANR a third of the time.
func doubling(change ...func(*rig.Spec)) rig.Spec { return shown("press-4", change...) }

// shown returns a station of the demonstration.
func shown(id string, change ...func(*rig.Spec)) rig.Spec {
	specs, err := rig.Plant(Start)
	if err != nil {
		panic("BUG: the demonstration's plant cannot be made: " + err.Error())
	}
	s, err := rig.Find(specs, id)
	if err != nil {
		panic("BUG: " + err.Error())
	}
	s.Sensors.Rate = min(s.Sensors.Rate, rate)
	s.Rhythm.Zone = time.UTC
	for _, c := range change {
		c(&s)
	}
	return s
}

// idle stops the consumers.
func idle(s *rig.Spec) { s.Rhythm = rig.Rhythm{Zone: time.UTC} }

// busy makes the consumers draw so many L/s ANR all the time: the piston never stands.
func busy(flow float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Rhythm = rig.Rhythm{Base: flow * 1e-3, Zone: time.UTC} }
}

// quietUntil lets nobody draw before an hour of the day.
func quietUntil(hour float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Rhythm.Shifts = []rig.Hours{{From: hour, To: 24}} }
}

// valve publishes the supply valve's signal.
func valve(s *rig.Spec) { s.Sensors.Valve = true }

// grace sets the grace time after a shutdown, s.
func grace(s int64) func(*rig.Spec) {
	return func(x *rig.Spec) { x.Plate.Grace = time.Duration(s) * time.Second }
}

// fault makes a fault set in, s after Start, at its usual level.
func fault(k rig.Kind, from int64) func(*rig.Spec) { return faultOf(k, 0, from, 0) }

// faultOf makes a fault of a level (SI, 0: the usual one) set in and end, s after Start; until 0: it
// does not end.
func faultOf(k rig.Kind, level float64, from, until int64) func(*rig.Spec) {
	return func(s *rig.Spec) {
		f := rig.Fault{Kind: k, Level: level, From: second(from)}
		if until != 0 {
			f.Until = second(until)
		}
		s.Faults = append(s.Faults, f)
	}
}

// grows makes a fault grow to a level (SI) over so many s.
func grows(k rig.Kind, level float64, from, over int64) func(*rig.Spec) {
	return func(s *rig.Spec) {
		s.Faults = append(s.Faults, rig.Fault{Kind: k, Level: level, From: second(from), Grow: over * station.Second})
	}
}

// relief sets the relief valve and what the plate states of it, Pa gauge. It pops where blowdown, a
// share, is above 0.
func relief(at, blowdown float64) func(*rig.Spec) {
	return func(s *rig.Spec) {
		s.Params.Relief.SetGauge, s.Params.Relief.Blowdown, s.Plate.Relief = at, blowdown, station.Gauge(at)
	}
}

// set turns the governor and what the plate states of it, Pa gauge.
func set(at float64) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Params.Governor.SetGauge, s.Plate.Set = at, station.Gauge(at) }
}

// shifts returns a change that sets a calendar of one shift a day, times of the day in minutes, UTC.
func shifts(from, to int) func(*rig.Spec) {
	return func(s *rig.Spec) { s.Plate.Calendar = calendar(from, to).Text() }
}

// calendar returns one with a shift a day, in minutes of the day, UTC, and the usual half hour of
// grace.
func calendar(from, to int) *station.Calendar {
	c := &station.Calendar{Grace: 30}
	c.SetZone(time.UTC)
	c.Shifts = []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: from, To: to}}
	return c
}

// vented is the word of Ada that both sides are vented.
func vented(at int64) Said {
	return Said{At: at, Command: station.Command{Kind: "vented", By: "Ada", Note: "both gauges read zero"}}
}

// atWork is the word of Ada that people work at the station until a second of the scene.
func atWork(at, until int64) Said {
	return Said{At: at, Until: until, Command: station.Command{Kind: "at-work", By: "Ada", Note: "changing the seals"}}
}

// workEnded is the word of Ada that they have left.
func workEnded(at int64) Said {
	return Said{At: at, Command: station.Command{Kind: "work-ended", By: "Ada", Note: "tools counted"}}
}

// leakBound returns a watch that a leak's upper bound is no lower than so much m³/s ANR of loss from a
// second of the scene on. slack is how long the engine may need to drop it, s.
func leakBound(flow float64, from, slack int64) func(*station.Status) string {
	return func(s *station.Status) string {
		e := &s.Estimates[station.LeakFlow]
		if s.At < second(from+slack) || !e.Known() || e.Value >= flow {
			return ""
		}
		return fmt.Sprintf("the leak is %s %.1f L/min with confidence %.2f, and %.1f are lost", e.Method, e.Value*60e3, e.Confidence, flow*60e3)
	}
}
