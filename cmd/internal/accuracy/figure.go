package accuracy

// Figure is a figure that is compared.
type Figure uint8

// The figures, in the order of the table.
const (
	Strokes Figure = iota
	Times
	Duty
	States
	Delivered
	Inlet
	Exhaust
	Supply
	Leak
	FalseLeaks
	DueAlarms
	FalseAlarms
	Traps
	NumFigures
)

// figure describes a figure.
type figure struct {
	name string // in tables and files
	unit string // of the error
	what string // how it is compared, for the table's head
}

// targets bound errors, in the figure's unit. Strokes with a counter are right within a cycle, and
// their times are asked for more of them, see compareStrokes.
var targets = [NumFigures]float64{Strokes: 1, Times: 10, Duty: 3, States: 5, Delivered: 4, Inlet: 8, Exhaust: 15, Supply: 15, Leak: 10}

// countedTimes bounds the error of Times with the counter, %.
const countedTimes = 5

// wrong is the error, in the figure's unit, from which on a figure that was told is wrong.
const wrong = 10

var figures = [NumFigures]figure{
	Strokes:     {name: "strokes", unit: "%", what: "in the minutes whose strokes are told; target: within a cycle with the counter, 1 % or one stroke without"},
	Times:       {name: "stroke times", unit: "%", what: "share of strokes without one told within 15 % of the interval or 50 ms; target 5 % with the counter, 10 % without"},
	Duty:        {name: "duty", unit: "points", what: "of the fed time; target 3 points"},
	States:      {name: "states", unit: "% fed", what: "worst of the seconds of stroking, holding and starved, over the fed time; target 5 % or 2 s"},
	Delivered:   {name: "delivered air", unit: "%", what: "in the minutes whose air is told; target 4 %"},
	Inlet:       {name: "inlet air", unit: "%", what: "likewise; target 8 %"},
	Exhaust:     {name: "exhaust air", unit: "%", what: "likewise; target 15 %"},
	Supply:      {name: "supply C/sqrt(1-b)", unit: "%", what: "at the end; target 15 %"},
	Leak:        {name: "leak conductance", unit: "%", what: "of stations with a hole at the outlet, at the end; target 10 %"},
	FalseLeaks:  {name: "tight: no leak told", what: "stations without a leak of which none is told at the end"},
	DueAlarms:   {name: "due alarms in time", what: "alarms that are due, and those raised in their time"},
	FalseAlarms: {name: "no false serious alarm", what: "stations without an alarm of high or medium priority, or of a leak, that is not due; wrong: how many such alarms there are"},
	Traps:       {name: "no trap sprung", what: "stations with alarms that would be false, and those where none of them is raised; wrong: how many are"},
}

// Score is how a figure of one case came out.
type Score struct {
	Applies bool    // the truth knows it
	Told    bool    // the analyzer knows it
	Err     float64 // signed, in the figure's unit
	Within  bool
	Wrong   bool // told, and wrong by more than 10 % or 10 points
	Band    bool // a band was stated
	Held    bool // and the truth is in it
	// N, Good and Bad are counts of the figures that count alarms.
	N, Good, Bad int
}

// counts reports whether the figure counts stations or alarms instead of errors.
func (f Figure) counts() bool { return f >= FalseLeaks }

// String returns the figure's name.
func (f Figure) String() string { return figures[f].name }
