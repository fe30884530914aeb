package station

import "fmt"

// Sides is a set of a station's pressure sensors.
type Sides uint8

// The sets.
const (
	InletSide Sides = 1 << iota
	OutletSide
	BothSides = InletSide | OutletSide
)

// String returns the side of one sensor in words.
func (s Sides) String() string {
	switch s {
	case InletSide:
		return "inlet"
	case OutletSide:
		return "outlet"
	case BothSides:
		return "inlet and outlet"
	}
	return ""
}

// ReasonKind is why an inferred state was concluded.
type ReasonKind uint8

// The kinds. Those from SensorFrozen on are doubts of a sensor.
const (
	NoReason ReasonKind = iota
	NoSamples
	SamplesGap
	NoInletReading
	NoOutletReading
	StandsBelowSet
	SupplyClosed // Reason.By shows it

	SensorFrozen       // a reading stands still
	SensorFrozenAtTop  // likewise, at the highest reading seen
	SensorSaturated    // a live reading ends at the same top again and again
	InletFlatCounted   // the inlet is near atmosphere while strokes are counted
	InletFlatPumped    // likewise, while the outlet is pumped up
	OutletBelowInlet   // against the check valves
	OutletFlatCounted  // the outlet is near atmosphere while strokes are counted
	BothFlatCounted    // likewise, and the inlet too
	FarBelowAtmosphere // only a pump could make the reading
	OutletBeyondReach  // the outlet is higher than the inlet could drive it
	LooksExchanged     // each reads as the other one should
	ExchangedAtSet     // likewise: the inlet reads the set pressure
	ExchangedAtOnce    // each reads what the other one did a sample before
	UnitAgainstSet     // a reading fits the set pressure in another unit
	UnitsAgainstSet    // both do
	UnitStepped        // a reading went to the share of another unit from one sample to the next
	UnitsStepped       // both did
	ReadingStepped     // an offset came from one sample to the next
	ReadingLost        // atmosphere from one sample to the next
	ZeroOff            // a vented line rests beside zero
	ZeroDrifted        // likewise, and further from it than before
	numReasons
)

// Doubt is what a reason says of the pressure sensors.
type Doubt uint8

// The doubts.
const (
	NoDoubt       Doubt = iota // they are believed, or nothing is said of them
	DoubtNotRead               // a reading is missing: silence proves nothing
	DoubtFrozen                // a reading stands still
	DoubtReadings              // readings contradict each other, the plate or physics
)

// StateReason is why an inferred state was concluded, with the figures that the reason needs
// in words. Two of them are the same reason where they are equal.
type StateReason struct {
	Is      ReasonKind
	Sides   Sides          // of a doubt
	By      ShutdownSource // of SupplyClosed
	Mistake UnitMistake    // of a unit
	Value   float64        // Pa: the step, or where the line rests
	Was     float64        // Pa: where it rested at At
	At      Instant        // of the step, or of the earlier rest
}

// Doubt returns what the reason says of the pressure sensors.
func (r StateReason) Doubt() Doubt {
	switch {
	case r.Is == NoSamples || r.Is == SamplesGap || r.Is == NoInletReading || r.Is == NoOutletReading:
		return DoubtNotRead
	case r.Is == SensorFrozen || r.Is == SensorFrozenAtTop:
		return DoubtFrozen
	case r.Is >= SensorFrozen && r.Is < numReasons:
		return DoubtReadings
	}
	return NoDoubt
}

// String returns the reason in words with pressures in kPa, "" for none.
func (r StateReason) String() string { return r.In(ReadKPa) }

// In returns the reason in words with pressures in a unit of reading, "" for none.
func (r StateReason) In(unit Reading) string {
	if words := plainReasons[r.Is%numReasons]; words != "" {
		return words
	}
	side := "the " + r.Sides.String()
	switch r.Is {
	case SupplyClosed:
		if r.By == ByInlet {
			return "supply closed, by the inlet's pressure"
		}
		return "supply closed, by the " + r.By.String() + "'s signal"
	case SensorFrozen:
		return side + " reading stands still: its sensor or gateway is frozen"
	case SensorFrozenAtTop:
		return side + " reading stands still at the highest reading seen: its sensor is saturated, or it or its gateway is frozen"
	case SensorSaturated:
		return side + " reads the same at its top again and again: its sensor is saturated"
	case InletFlatCounted:
		return "the inlet reads near atmosphere while strokes are counted: " + r.unitOrFault()
	case InletFlatPumped:
		return "the inlet reads near atmosphere while the outlet is pumped up again and again: " + r.unitOrFault()
	case FarBelowAtmosphere:
		return side + " reads far below atmosphere: an offset of its sensor, or a broken wire"
	case ReadingLost:
		return side + " reads near atmosphere from one sample to the next: a broken wire, or a fault of its sensor"
	}
	return r.figures(side, unit)
}

// plainReasons are the reasons whose words need no figure.
var plainReasons = [numReasons]string{
	NoSamples:         "no samples yet",
	SamplesGap:        "no samples",
	NoInletReading:    "no inlet pressure",
	NoOutletReading:   "no outlet pressure",
	StandsBelowSet:    "piston stands below set",
	OutletBelowInlet:  "the outlet reads below the inlet although the check valves would let air through: a wrong unit, or a fault of a sensor",
	OutletFlatCounted: "the outlet reads near atmosphere while strokes are counted: wrong unit, or a fault of its sensor",
	BothFlatCounted:   "the outlet reads near atmosphere while strokes are counted, and the inlet too: wrong units, or faults of the sensors",
	OutletBeyondReach: "the inlet reads too low for the outlet that the booster goes on to reach: wrong unit, or a fault of its sensor",
	LooksExchanged:    "the inlet reads as an outlet does, and the outlet less: the sensors may be exchanged",
	ExchangedAtSet:    "the inlet reads the set pressure and the outlet less: the sensors may be exchanged",
	ExchangedAtOnce:   "the inlet reads what the outlet did, and the outlet what the inlet did: the sensors are exchanged",
}

// figures words the reasons that name a unit or a pressure.
func (r StateReason) figures(side string, in Reading) string {
	share, unit := r.Mistake.Share(), r.Mistake.String()
	switch r.Is {
	case UnitAgainstSet:
		return fmt.Sprintf("%s reads %s of what the set pressure calls for: perhaps a wrong unit (%s)", side, share, unit)
	case UnitsAgainstSet:
		return fmt.Sprintf("the outlet reads %s of the set pressure, and the inlet is as small or large: perhaps a wrong unit (%s)", share, unit)
	case UnitStepped:
		return fmt.Sprintf("%s reads %s of what it did a moment before: perhaps a wrong unit (%s)", side, share, unit)
	case UnitsStepped:
		return fmt.Sprintf("the outlet reads %s of what it did, and so does the inlet: perhaps a wrong unit (%s)", share, unit)
	case ReadingStepped:
		return fmt.Sprintf("%s reading %s from one sample to the next at %s: its sensor has an offset", side, r.stepped(in), r.At.Floor(Second))
	case ZeroDrifted:
		return fmt.Sprintf("%s reads %s at rest after venting, but %s on %s: its sensor drifts, or pressure is left", side, in.Difference(r.Value), in.Difference(r.Was), r.At.Time().Format("2006-01-02 15:04"))
	case ZeroOff:
		return fmt.Sprintf("%s reads %s at rest after venting: an offset of its sensor, or pressure is left", side, in.Difference(r.Value))
	}
	return ""
}

// stepped words the step of a reading.
func (r StateReason) stepped(in Reading) string {
	if r.Value < 0 {
		return "fell by " + in.Difference(-r.Value)
	}
	return "rose by " + in.Difference(r.Value)
}

func (r StateReason) unitOrFault() string {
	if r.Mistake != NoMistake {
		return "perhaps a wrong unit (" + r.Mistake.String() + ")"
	}
	return "wrong unit, or a fault of its sensor"
}
