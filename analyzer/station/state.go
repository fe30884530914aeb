package station

// The one definition of duty, shared by virtual stations, truth files, engine and pages:
//
//   - A station is fed while its supply is open and its inlet is above FedAbove.
//   - The piston strokes while it travels faster than one stroke in SlowestStroke; the
//     changeover between two strokes counts with them. Slower is creeping, and creeping
//     counts as standing. Creep below that limit shows in no trace.
//   - Duty is the stroking time over the fed time, 0 to 1.
//
// A piston that stands or creeps while fed is at stall: Holding where the outlet is at set,
// Starved where it is below.
const (
	// SlowestStroke is the time, ns, that the slowest stroke takes. Own definition, no source:
	// in two independent models it equals the time in which the governor lets the piston work,
	// within 2 points of duty; a limit ten times as long nearly doubles the duty of a soft governor.
	SlowestStroke = 30 * Second
	// FedAbove is the least inlet pressure, gauge, of a fed station. Own definition, no source.
	FedAbove = Gauge(50e3)
)

// State is what a station is doing. The states partition time.
type State uint8

// The states. Charging and Stroking are the stroking time, Holding and Starved the stall.
const (
	Blind    State = iota // the sensors do not show the state
	Off                   // inlet and outlet both near atmosphere
	Charging              // stroking, outlet rising to set after it was empty or low
	Stroking              // stroking, outlet within its band or held below it by demand
	Holding               // stall at set
	Starved               // stall below set though the inlet is fed
	Venting               // inlet closed or dumped and outlet falling fast
	Residual              // inlet closed or gone, outlet still charged
	NumStates
)

var stateNames = [NumStates]string{"blind", "off", "charging", "stroking", "holding", "starved", "venting", "residual"}

// String returns the state's name in outputs.
func (s State) String() string {
	if s < NumStates {
		return stateNames[s]
	}
	return "unknown"
}

// Working reports whether the piston strokes in this state.
func (s State) Working() bool { return s == Charging || s == Stroking }

// Fed reports whether the inlet is fed in this state: the states over which duty is taken.
func (s State) Fed() bool {
	return s == Charging || s == Stroking || s == Holding || s == Starved
}
