package station

import (
	"strings"
	"testing"
)

// Every reason has words of its own, and its doubt follows from its kind alone. Source: the
// doubt that alarms took from the words of each reason while reasons were words.
func TestReasonsHaveWordsAndDoubts(t *testing.T) {
	seen := map[string]ReasonKind{}
	for k := NoReason; k < numReasons; k++ {
		r := StateReason{Is: k, Sides: OutletSide, By: ByInlet, Mistake: PSIAsKPa, Value: 40e3, Was: 10e3, At: Instant(Second)}
		words := r.String()
		if other, twice := seen[words]; (words == "") != (k == NoReason) || twice || strings.Contains(words, "  ") {
			t.Errorf("reason %d is %q, as reason %d", k, words, other)
		}
		seen[words] = k
		want := DoubtReadings
		switch k {
		case NoReason, StandsBelowSet, SupplyClosed:
			want = NoDoubt
		case NoSamples, SamplesGap, NoInletReading, NoOutletReading:
			want = DoubtNotRead
		case SensorFrozen, SensorFrozenAtTop:
			want = DoubtFrozen
		}
		if got := r.Doubt(); got != want {
			t.Errorf("%q is doubt %d, want %d", words, got, want)
		}
	}
}

// Figures, sides and units stand in the words. Source: the figures given here.
func TestReasonsNameFiguresAndUnits(t *testing.T) {
	at := Instant(1767225600 * Second)
	for _, c := range []struct {
		r    StateReason
		want string
	}{
		{StateReason{Is: SupplyClosed, By: ByValve}, "supply closed, by the valve's signal"},
		{StateReason{Is: SensorFrozen, Sides: InletSide}, "the inlet reading stands still: its sensor or gateway is frozen"},
		{StateReason{Is: InletFlatCounted, Sides: InletSide, Mistake: BarAsKPa}, "the inlet reads near atmosphere while strokes are counted: perhaps a wrong unit (bar that is declared as kPa)"},
		{StateReason{Is: InletFlatPumped, Sides: InletSide}, "the inlet reads near atmosphere while the outlet is pumped up again and again: wrong unit, or a fault of its sensor"},
		{StateReason{Is: UnitAgainstSet, Sides: OutletSide, Mistake: PSIAsKPa}, "the outlet reads a seventh of what the set pressure calls for: perhaps a wrong unit (psi that is declared as kPa)"},
		{StateReason{Is: ReadingStepped, Sides: OutletSide, Value: -24.6e3, At: at}, "the outlet reading fell by 25 kPa from one sample to the next at 2026-01-01T00:00:00Z: its sensor has an offset"},
		{StateReason{Is: ZeroDrifted, Sides: OutletSide, Value: 18e3, Was: 2e3, At: at}, "the outlet reads 18 kPa at rest after venting, but 2 kPa on 2026-01-01 00:00: its sensor drifts, or pressure is left"},
	} {
		if got := c.r.String(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	r := StateReason{Is: ZeroOff, Sides: InletSide, Value: 30e3}
	for unit, want := range map[Reading]string{ReadBar: "reads 0.30 bar at rest", ReadPSI: "reads 4 psi at rest"} { // 30 kPa are 0.3 bar, 4.35 psi
		if got := r.In(unit); !strings.Contains(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
