package rules

import "strokewise/analyzer/station"

// Names of the alarms.
const (
	SupplyUndersized = "supply-undersized"
	OutletLeak       = "outlet-leak"
	PressureLeft     = "pressure-left"
	SignalLost       = "signal-lost"
)

// Defaults of the limits that a station's plate may override.
const (
	SagLimit    = 0.10                    // share of the resting gauge pressure (common practice, no source)
	LeakLimit   = 15e-3 / 60              // m³/s ANR: 15 L/min (common practice, no source)
	ChargedMin  = 20e3                    // Pa gauge: above it a line is not vented
	GraceNs     = 5 * 60 * station.Second // after a shutdown, before pressure left is an alarm
	SilenceNs   = 30 * station.Second     // of a periodic channel
	clearFactor = 0.8                     // of a limit, to clear
)

// Cautions that go with every alarm on stored pressure, supply and leak.
const (
	CautionStored = "Reading only, not isolation. Vent, lock out, verify at a local gauge, also downstream of the regulator."
	CautionSupply = "Closing the supply leaves outlet and chambers charged. Isolate and vent both sides before opening; the piston may move."
	CautionLeak   = "Search with ultrasound or soap, never with hands."
	CautionSilent = "Without a reading, treat the outlet as charged."
)

// Definition is the rationale of one alarm.
type Definition struct {
	Name        string
	Priority    Priority
	DelayNs     int64 // the condition must hold for this long
	Consequence string
	Causes      []string // likely ones, in order
	CheckFirst  string
	RespondIn   string
	Caution     string
}

// catalogue holds the definitions, in the order in which they are evaluated.
var catalogue = [...]Definition{
	{
		Name: SupplyUndersized, Priority: Finding, DelayNs: 120 * station.Second,
		Consequence: "The booster slows down and the outlet cannot reach its set pressure when it is needed.",
		Causes:      []string{"supply line too narrow or too long", "clogged filter or half-closed valve", "header pressure low"},
		CheckFirst:  "Compare the header's gauge with the inlet's while the booster strokes.",
		RespondIn:   "next working day", Caution: CautionSupply,
	},
	{
		Name: OutletLeak, Priority: Medium, DelayNs: 60 * station.Second,
		Consequence: "The booster strokes for nothing: every litre lost at the outlet costs the drive air as well.",
		Causes:      []string{"a leak in the boosted branch", "a consumer left open", "a drain that does not close"},
		CheckFirst:  "With the branch idle, listen along it with an ultrasound detector.",
		RespondIn:   "this shift", Caution: CautionLeak,
	},
	{
		Name: PressureLeft, Priority: High, DelayNs: 0,
		Consequence: "Stored air can move cylinders and the piston, and whip hoses, when somebody opens the line.",
		Causes:      []string{"the tank was not vented after the shutdown", "a check valve or regulator keeps a section charged"},
		CheckFirst:  "Go to the station; read the local gauges of tank and branch.",
		RespondIn:   "before anybody works on the line", Caution: CautionStored,
	},
	{
		Name: SignalLost, Priority: Low, DelayNs: 0,
		Consequence: "Nothing can be said of the station while it is silent.",
		Causes:      []string{"sensor or gateway without power", "network or broker", "sensor cable"},
		CheckFirst:  "Look whether other stations of the same gateway are silent too.",
		RespondIn:   "this shift", Caution: CautionSilent,
	},
}

// Catalogue gives the definitions of all alarms.
func Catalogue() []Definition { return append([]Definition(nil), catalogue[:]...) }
