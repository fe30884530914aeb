package station

// UnitMistake is a mistake in the unit of a sensor: its readings come times a factor.
type UnitMistake uint8

// The mistakes.
const (
	NoMistake UnitMistake = iota
	BarAsKPa
	PSIAsKPa
	KPaAsBar
	KPaAsPSI
	MPaAsKPa
	BarAsPSI
	PSIAsBar
	MPaAsBar
	BarAsMPa
	NumMistakes
)

// unitMistakes hold the share of the true pressure that a mistake shows, and its name.
var unitMistakes = [NumMistakes]struct{ share, words string }{
	BarAsKPa: {"a hundredth", "bar that is declared as kPa"},
	PSIAsKPa: {"a seventh", "psi that is declared as kPa"},
	KPaAsBar: {"a hundred times", "kPa that is declared as bar"},
	KPaAsPSI: {"seven times", "kPa that is declared as psi"},
	MPaAsKPa: {"a thousandth", "MPa that is declared as kPa"},
	BarAsPSI: {"a fourteenth", "bar that is declared as psi"},
	PSIAsBar: {"fourteen times", "psi that is declared as bar"},
	MPaAsBar: {"a tenth", "MPa that is declared as bar"},
	BarAsMPa: {"ten times", "bar that is declared as MPa"},
}

// String returns the mistake in words, as in "bar that is declared as kPa".
func (m UnitMistake) String() string { return unitMistakes[m%NumMistakes].words }

// Share returns in words how much of the true pressure is read.
func (m UnitMistake) Share() string { return unitMistakes[m%NumMistakes].share }

// Factor returns what the readings come times, 0 for NoMistake. 1 psi = 6.894757 kPa (ISO 80000-4, from memory).
func (m UnitMistake) Factor() float64 { return unitFactors[m%NumMistakes] }

var unitFactors = [NumMistakes]float64{BarAsKPa: 0.01, PSIAsKPa: 1 / 6.894757, KPaAsBar: 100, KPaAsPSI: 6.894757, MPaAsKPa: 0.001,
	BarAsPSI: 0.0689476, PSIAsBar: 14.50377, MPaAsBar: 0.1, BarAsMPa: 10}
