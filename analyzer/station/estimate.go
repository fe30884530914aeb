package station

// Method tells how a figure was obtained.
type Method uint8

// The methods.
const (
	MethodNone     Method = iota
	MethodTraces          // from the pressure traces
	MethodCounter         // from the cycle counter
	MethodBoth            // number from the counter, times from the traces
	MethodDecay           // fall of the outlet while the piston stands
	MethodMakeup          // strokes that only make up for a steady draw
	MethodBound           // a bound, not a value
	MethodPlate           // computed from plate data
	MethodRecharge        // from quiet recharges of the tank
	MethodMeter           // calibrated by a flow meter
	MethodTrend           // from earlier values of a figure
	NumMethods
)

var methodNames = [NumMethods]string{"none", "traces", "counter", "both", "decay", "make-up", "bound", "plate", "recharge", "flow meter", "trend"}

// String gives the method's name in outputs.
func (m Method) String() string {
	if m < NumMethods {
		return methodNames[m]
	}
	return "none"
}

// Estimate is a figure that may be unknown. A known one has Reason == "".
type Estimate struct {
	Value      float64
	Low, High  float64 // 90 % interval; both zero where none is stated
	Method     Method
	Absent     bool    // this engine does not estimate the figure: it is left out where figures are listed
	Confidence float64 // 0..1
	From, At   Instant // window it was last obtained from; From is 0 where that is one moment
	Reason     string  // why it is unknown
}

// NotEstimated returns the estimate of a figure that an engine does not estimate.
func NotEstimated() Estimate { return Estimate{Absent: true, Reason: "not estimated by this version"} }

// Unknown gives an estimate that is not known, and why.
func Unknown(reason string) Estimate { return Estimate{Reason: reason} }

// Known tells whether the estimate has a value.
func (e *Estimate) Known() bool { return e.Reason == "" && e.Method != MethodNone }
