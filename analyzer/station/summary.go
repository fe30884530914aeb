package station

import "math"

// Side is the half of the cycle in which a stroke ran. Which one is 'a' cannot be
// known from the traces; they only alternate.
type Side uint8

// The sides.
const (
	SideUnknown Side = iota
	SideA
	SideB
)

// String gives "a", "b" or "".
func (s Side) String() string { return [...]string{"", "a", "b"}[s%3] }

// Stroke is one stroke; At is its end.
type Stroke struct {
	At     Instant
	Side   Side
	Method Method
}

// Interval is a span of time, half-open, in one state. Segments count up at every
// step of the station's clock; times repeat only across segments.
type Interval struct {
	State    State
	From, To Instant
	Segment  uint32
}

// Minute sums up one UTC minute of a station, half-open. It is final once emitted.
// Pressures are NaN where no sample fell into the minute.
type Minute struct {
	Start   Instant
	Segment uint32
	// Covered is the part of the minute, in ns, between the first and last sample of
	// the trace; it includes blind time.
	Covered int64
	StateNs [NumStates]int64
	// StrokingLow and StrokingHigh are the 90 % band of the time in which the piston strokes, ns; both
	// 0 in minutes that were stored, since the history does not keep them.
	StrokingLow, StrokingHigh int64
	Strokes                   int64
	StrokeMethod              Method // MethodNone: strokes are unknown, not zero
	// Air is at ANR. AirReason says why it is unknown ("" when known).
	Inlet, Exhaust, Delivered Microlitres
	InletLow, InletHigh       Microlitres // 90 % band
	DeliveredLow              Microlitres
	DeliveredHigh             Microlitres
	AirReason                 string
	InletMean, OutletMean     Gauge
	OutletMax                 Gauge
	Leak                      Estimate // m³/s ANR
	Revised                   bool     // rebuilt from samples that came late; set by the history alone
}

// ExhaustBand returns the 90 % band of the exhaust air. Inlet air is exhaust and delivered air, whose errors
// have nothing to do with each other, so of the half-widths
//
//	exhaust² = inlet² - delivered²
//
// Where a flow meter has told the inlet air, it is exhaust that is the difference: + in the place of -.
func (m *Minute) ExhaustBand() (low, high Microlitres) {
	in, out := float64(m.InletHigh-m.InletLow)/2, float64(m.DeliveredHigh-m.DeliveredLow)/2
	half := math.Hypot(in, out)
	if in > out {
		half = math.Sqrt(in*in - out*out)
	}
	return max(0, m.Exhaust-Microlitres(half)), m.Exhaust + Microlitres(half)
}

// Gap is a run of whole UTC minutes, half-open, in none of which there is a sample of the station. Nothing is known of
// them: they are no minutes with zeros, and blind time.
type Gap struct {
	From, To Instant
	Segment  uint32
}

// Ns returns the length of the gap, ns.
func (g Gap) Ns() int64 { return g.To.Sub(g.From) }

// Minutes returns how many minutes the gap is long.
func (g Gap) Minutes() int64 { return g.Ns() / Minute60 }

// Within returns the part of the gap that lies in [from, to), whole minutes where these are; a zero to is open. It is
// empty (To at or before From) where none does.
func (g Gap) Within(from, to Instant) Gap {
	if g.From = max(g.From, from); to != 0 {
		g.To = min(g.To, to)
	}
	return g
}

// Duty gives the share of fed time in which the piston worked, and false if it was
// never fed.
func Duty(ns [NumStates]int64) (float64, bool) {
	work := ns[Charging] + ns[Stroking]
	fed := work + ns[Holding] + ns[Starved]
	if fed == 0 {
		return 0, false
	}
	return float64(work) / float64(fed), true
}

// ValveState is what the supply valve's signal says.
type ValveState uint8

// The states of the supply valve.
const (
	ValveUnknown ValveState = iota
	ValveClosed
	ValveOpen
)

// Status is a station at one instant of event time: the input of rules and live views.
type Status struct {
	At             Instant
	Segment        uint32
	State          State
	Since          Instant     // start of the state
	StateReason    StateReason // of an inferred shutdown or blindness
	Inlet, Outlet  Estimate
	StrokeRate     Estimate // 1/s
	StrokesMinute  int64
	Estimates      Estimates
	LeakPlace      LeakPlace
	Contradiction  Contradiction
	OutletLastSeen Gauge // last outlet reading that was believed and is not doubted now, NaN: none
	// InletReads and OutletReads are what the sensors read, believed or not; NaN: no reading.
	InletReads, OutletReads Gauge
	// InletPeak and OutletPeak are the highest that they read for half a second since the step
	// before; NaN: no reading.
	InletPeak, OutletPeak Gauge
	Strokes               int64 // seen since the analysis began
	Valve                 ValveState
	// ShutdownAt is when the supply was closed (zero while fed), ShutdownBy what showed it.
	ShutdownAt Instant
	ShutdownBy ShutdownSource
}
