package station

// State is what a station is doing. The states partition time.
type State uint8

// The states, as pneumatics of a boost station tells them apart.
const (
	Blind    State = iota // the sensors do not let one tell
	Off                   // inlet and outlet both near atmosphere
	Charging              // outlet rising to set after being empty or low
	Stroking              // piston works, outlet within its band or held below by demand
	Holding               // piston stands, outlet at set
	Starved               // piston stands or crawls, outlet below set though the inlet is fed
	Venting               // inlet closed or dumped and outlet falling fast
	Residual              // inlet closed or gone, outlet still charged
	NumStates
)

var stateNames = [NumStates]string{"blind", "off", "charging", "stroking", "holding", "starved", "venting", "residual"}

// String gives the state's name in outputs.
func (s State) String() string {
	if s < NumStates {
		return stateNames[s]
	}
	return "unknown"
}

// Working tells whether the piston works in this state.
func (s State) Working() bool { return s == Charging || s == Stroking }

// Fed tells whether the inlet is fed in this state: the states over which duty is taken.
func (s State) Fed() bool {
	return s == Charging || s == Stroking || s == Holding || s == Starved
}
