package pipeline_test

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// sets is when faults set in, s: by then the engine knows the station.
const sets = 900

// faultRow is a row with one fault from sets on.
type faultRow struct {
	kind   rig.Kind
	level  float64 // 0: the usual one
	idle   bool    // nobody draws
	length int64   // s
	labels []label
}

// after is an alarm that can be told so many s after the fault has set in.
func after(alarm string, seen int64) label { return label{alarm, sets, sets + seen} }

// faults are the rig's faults with the alarms that they ask for. What is the sensor's or the
// counter's asks for no alarm of the machine.
var faults = []faultRow{
	// a minute of strokes shows the sag
	{kind: rig.SupplyNarrow, length: 1500, labels: []label{after(rules.SupplyUndersized, 60)}},
	{kind: rig.FilterClogging, length: 1500, labels: []label{after(rules.SupplyUndersized, 60)}},
	// it falls to 490 kPa gauge, above the 467 that 850 kPa at the outlet need; a set that is out of
	// reach is told after the ten minutes for which the highest inlet is remembered
	{kind: rig.HeaderLow, length: 2700, labels: []label{after("set-out-of-reach", 600)}},
	{kind: rig.HeaderLow, idle: true, length: 1800},
	// three minutes of strokes that only make up for it, or of standing
	{kind: rig.OutletLeak, idle: true, length: 2400, labels: []label{after(rules.OutletLeak, 180)}},
	{kind: rig.OutletLeak, level: 3e-10, idle: true, length: 2400, labels: []label{after(rules.OutletLeak, 180)}},
	{kind: rig.BranchLeak, idle: true, length: 2400, labels: []label{after(rules.OutletLeak, 180)}},
	{kind: rig.ReliefLow, idle: true, length: 2400, labels: []label{after(rules.OutletLeak, 180)}},
	// while consumers draw, a leak is one of them until there is a quiet break
	{kind: rig.OutletLeak, length: 1800},
	{kind: rig.BranchLeak, length: 1800},
	// a valve that blows off at every top is a steady draw; a leak beside a tank that rewarms in each pause hides
	{kind: rig.ReliefLow, length: 1800, labels: []label{after("demand-step", 600)}},
	// no alarm of the catalogue asks for what a check valve lets back: it costs strokes, no air
	{kind: rig.CheckValveLeak, length: 1800},
	{kind: rig.CheckValveLeak, idle: true, length: 1800},
	// the outlet passes the tank's pressure in seconds, and stalls at 1232 kPa gauge, below the
	// relief valve's 1250: by the rig's truth it never lifts
	{kind: rig.SealWorn, idle: true, length: 1800, labels: []label{after("over-pressure", 20)}},
	{kind: rig.SealWorn, length: 1800},
	{kind: rig.SetHigh, idle: true, length: 1800, labels: []label{after("over-pressure", 20)}},
	// what hunting and uneven strokes of these levels show is below the limits of their alarms
	{kind: rig.Hunting, length: 1800},
	{kind: rig.Uneven, length: 1800},
	{kind: rig.Shutdown, length: 1500, labels: []label{after(rules.PressureLeft, 0)}},
	{kind: rig.Shutdown, idle: true, length: 1500, labels: []label{after(rules.PressureLeft, 0)}},
	// a trapped inlet is told once it rests below its usual pressure; while the piston stood
	// already, nothing tells it from holding
	{kind: rig.Trapped, length: 1500, labels: []label{after(rules.PressureLeft, 20)}},
	{kind: rig.Trapped, idle: true, length: 1500},
	{kind: rig.Vented, length: 1800},
	{kind: rig.Vented, idle: true, length: 1800},
	{kind: rig.SensorNoise, length: 1800},
	{kind: rig.SensorOffset, length: 1800, labels: []label{after(implausibleAlarm, 20)}},
	{kind: rig.SensorFrozen, length: 1500, labels: []label{after("sensor-frozen", 30)}},
	{kind: rig.SensorDropped, length: 1800},
	{kind: rig.SensorsSwapped, length: 1500, labels: []label{after("sensor-implausible", 20)}},
	{kind: rig.WrongUnit, length: 1500, labels: []label{after("sensor-implausible", 20)}},
	{kind: rig.WrongUnit, idle: true, length: 1500, labels: []label{after("sensor-implausible", 20)}},
	// sag of the header, by 10 %: whose it is takes a sensor at the header
	{kind: rig.HeaderWeak, length: 1800},
	// a minute without strokes, and the outlet down at 85 %
	{kind: rig.PistonStuck, length: 1500, labels: []label{after("piston-stuck", 75)}},
	// the usual stroke time is not learned by then; TestAlarmsOnTheirFaults has a busier station
	{kind: rig.FeedNarrow, level: 0.7, length: 1800},
	// fifteen runs
	{kind: rig.SetLow, length: 2700, labels: []label{after("set-changed", 150)}},
	{kind: rig.InletOffset, length: 1800, labels: []label{after(implausibleAlarm, 20)}},
	{kind: rig.InletFrozen, length: 1500, labels: []label{after(frozenAlarm, 30)}},
	{kind: rig.InletUnit, length: 1500, labels: []label{after(implausibleAlarm, 20)}},
	{kind: rig.OutletUnit, length: 1500, labels: []label{after(implausibleAlarm, 20)}},
	// the top of its range reads as a frozen one
	{kind: rig.InletClipped, length: 1500, labels: []label{after(frozenAlarm, 30)}},
	{kind: rig.OutletClipped, length: 1500, labels: []label{after(frozenAlarm, 30)}},
	// comparisons of 200 strokes, of which the first has begun before the fault
	{kind: rig.CounterMisses, length: 2700, labels: []label{after("count-mismatch", 300)}},
	{kind: rig.ClockJump, length: 1800},
	// bounces are left out and told
	{kind: rig.CounterBounce, length: 1800, labels: []label{after("count-mismatch", 300)}},
	{kind: rig.CounterReset, length: 1800},
	{kind: rig.CounterRolls, length: 1800},
}

// rigRecordings are the rows that the rig makes.
func rigRecordings(t *testing.T) []recording {
	t.Helper()
	out := []recording{
		{name: "healthy, working", spec: worked(t, false), length: 3600},
		{name: "healthy, idle", spec: worked(t, true), length: 3600},
		{name: "healthy, four times the pressure", spec: virtual(t, "press-9"), length: 3600},
		{name: "healthy, a counter and 1 Hz", spec: virtual(t, "pack-2"), length: 3600},
	}
	for _, f := range faults {
		s := worked(t, f.idle)
		s.Faults = []rig.Fault{{Kind: f.kind, Level: f.level, From: rigStart.Add(sets * station.Second)}}
		name := f.kind.String()
		if f.level != 0 {
			name += ", small"
		}
		if f.idle {
			name += ", idle"
		}
		out = append(out, recording{name, s, f.length, f.labels})
	}
	return append(out, shift(t))
}

// worked gives a healthy doubling station of which everything is known.
func worked(t *testing.T, idle bool) rig.Spec {
	t.Helper()
	s := virtual(t, "press-4")
	s.Sensors.Rate = 20
	s.Plate.Required, s.Plate.TankPS, s.Plate.HoseLimit = 850e3, 1100e3, 1300e3
	if idle {
		s.Rhythm = rig.Rhythm{}
	}
	return s
}

// shift is a shift of eight hours with two breaks and a growing leak, and half an hour after
// it: the supply is closed, and pressure left.
func shift(t *testing.T) recording {
	t.Helper()
	const hour = int64(3600)
	s := worked(t, false)
	s.Rhythm.Zone = nil // rigStart is midnight
	s.Rhythm.Shifts = []rig.Hours{{From: 0, To: 3}, {From: 3.25, To: 6}, {From: 6.5, To: 8}}
	s.Faults = []rig.Fault{
		{Kind: rig.OutletLeak, Level: 4e-10, From: rigStart.Add(4 * hour * station.Second), Grow: 2 * hour * station.Second},
		{Kind: rig.Shutdown, From: rigStart.Add(8 * hour * station.Second)},
	}
	return recording{"a shift of 8 h", s, 8*hour + 1800, []label{
		{rules.OutletLeak, 4 * hour, 6*hour + 240}, // 15 L/min are passed at 5:10; four minutes of the break show it
		{rules.PressureLeft, 8 * hour, 8 * hour},
	}}
}
