package engine

import (
	"math"
	"testing"
)

// usualRuns is a station that strokes without standing: an inlet of 600 kPa gauge, two strokes a second of air at 701.325 kPa
// absolute, and an inlet that swings by 12 kPa.
func usualRuns() evenRuns {
	var u evenRuns
	for range evenKnown {
		u.learn(600e3, 2*701.325e3, 12e3, 15e3)
	}
	return u
}

// What lowers the inlet is told apart by flow and swing. Flows are strokes a second times Pa absolute, by hand.
func TestFallsOfTheHeaderWhilePistonWorks(t *testing.T) {
	for _, c := range []struct {
		name           string
		p, flow, swing float64
		fell           bool
	}{
		{"the header fell: as many strokes, of thinner air", 470e3, 2 * 571.325e3, 10e3, true},
		{"half as many strokes", 470e3, 571.325e3, 10e3, true},
		{"a narrower line: the gulps show more", 470e3, 2 * 571.325e3, 30e3, false},
		{"more strokes draw more", 560e3, 3 * 661.325e3, 12e3, false},
		{"less than a twentieth lower", 575e3, 2 * 676.325e3, 12e3, false},
	} {
		if u := usualRuns(); u.fell(c.p, u.expects(c.flow, 0.1), c.flow, c.swing, 3e3) != c.fell {
			t.Errorf("%s: fell is %v", c.name, !c.fell)
		}
	}
	if u := usualRuns(); u.fell(470e3, 600e3, 2*571.325e3, 10e3, 13e3) {
		t.Error("a swing of 12 kPa under a least of 13 is none that shows, and a fall was concluded")
	}
}

// At 1.1 times the usual flow a line that takes a fifth takes 1.21 as much: 0.2 x 0.21 x 600 kPa = 25.2 kPa lower. At less
// flow no rise of the inlet is expected, since the header may have fallen meanwhile.
func TestInletExpectedAtAFlow(t *testing.T) {
	u := usualRuns()
	if x := u.expects(1.1*u.Flow, 0.2); math.Abs(x-574.8e3) > 1 {
		t.Errorf("expected inlet %.0f Pa, by hand 574800", x)
	}
	if x := u.expects(0.5*u.Flow, 0.2); x != u.Inlet {
		t.Errorf("expected inlet %.0f Pa at half the flow", x)
	}
}

// A fall lasts until the inlet is within half of a twentieth of usual, 585 kPa, or swings as a narrow line.
func TestFallOfTheHeaderEnds(t *testing.T) {
	u := usualRuns()
	u.Fell = true
	if !u.fell(584e3, 600e3, 3*685e3, 12e3, 3e3) || u.fell(586e3, 600e3, 2*687e3, 12e3, 3e3) || u.fell(470e3, 600e3, 2*571e3, 14e3, 3e3) {
		t.Error("584 kPa is still fallen, 586 kPa is back, and 14 kPa of swing are more than 1.15 of 12: a narrow line's")
	}
}

// The line takes at most swing/swingLine: 12 kPa of 0.3 are 40 kPa, of a header of 640 kPa a sixteenth. Strokes longer
// than a slot show in the whole run: 15/0.3 = 50 of 650.
func TestMostSagBySwing(t *testing.T) {
	u := usualRuns()
	if x := u.sag(slotLen); math.Abs(x-40./640) > 1e-9 {
		t.Errorf("sag %.5f, by hand %.5f", x, 40./640)
	}
	if x := u.sag(slotLen + 1); math.Abs(x-50./650) > 1e-9 {
		t.Errorf("sag of long strokes %.5f, by hand %.5f", x, 50./650)
	}
}

// A run in which the header fell swings by the fall: the usual range of a run at most doubles by it.
func TestAFallIsNoSwing(t *testing.T) {
	u := usualRuns()
	u.learn(590e3, 2*690e3, 13e3, 150e3)
	if want := 15e3 + (30e3-15e3)/4; math.Abs(u.Wide-want) > 1 {
		t.Errorf("usual range %.0f Pa, by hand %.0f", u.Wide, want)
	}
}
