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
