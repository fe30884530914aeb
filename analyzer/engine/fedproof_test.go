package engine

import (
	"math"
	"testing"
)

// lowLine is an engine whose inlet stands at p1, Pa gauge, in a low stretch that began at from, after so many strokes.
func lowLine(from, p1 float64, strokes, counts int) *Engine {
	e := New(testPlate(), discard{})
	e.Inlet.High = p1
	e.Proof = fedProof{From: from, Strokes: strokes, Counts: counts}
	return e
}

// Of a line of 20 L a stroke takes V_b/(V_b + 20 L) at least; of a supply pipe of 100 mm and 10 m, which holds 78.54 L, three
// times that is taken: V_b/(V_b + 235.6 L).
func TestShareOfAClosedLine(t *testing.T) {
	e := lowLine(500e3, 500e3, 0, 0)
	vb := e.Plate.SweptBoost
	if x := e.strokeShare(); !near(x, vb/(vb+20e-3)) || x < leastShare*0.95 {
		t.Errorf("share %.5f, by hand %.5f", x, vb/(vb+20e-3))
	}
	e.Plate.SupplyBore, e.Plate.SupplyLength = 0.1, 10
	if x := e.strokeShare(); !near(x, vb/(vb+0.235619)) {
		t.Errorf("share of a long pipe %.6f, by hand %.6f", x, vb/(vb+0.235619))
	}
	e.Plate.SweptBoost = 0
	if x := e.strokeShare(); x != leastShare {
		t.Errorf("share of an unknown booster %.4f", x)
	}
}

// With a share of 0.009 eleven strokes leave a closed line of 601.325 kPa absolute at 601.325 x 0.991^10 = 549.3 kPa, 448 kPa
// gauge, the first being counted as begun before. An inlet above that is fed, one below may be closed, and three
// strokes prove nothing.
func TestStrokesThatAClosedLineCannotFeed(t *testing.T) {
	for _, c := range []struct {
		p1              float64
		strokes, counts int
		feeds           bool
	}{
		{449e3, 11, 6, true},
		{447e3, 11, 6, false},
		{500e3, provenStrokes - 1, 6, false},
		{500e3, 11, provenCounts - 1, false},
	} {
		e := lowLine(500e3, c.p1, c.strokes, c.counts)
		e.Plate.SweptBoost = 0
		if e.lineFeeds() != c.feeds {
			t.Errorf("%d strokes, %d counts at %.0f kPa: fed is %v", c.strokes, c.counts, c.p1/1e3, !c.feeds)
		}
	}
}

// A tank that falls from 1000 to 800 kPa absolute cools by 2/7 ln(10/8) = 0.06376 of its temperature at most. Warming gives
// back that much: a rise by e^0.06376 lifts it to 852.67 kPa, and what is more, to 900 kPa, ln(900/852.67) = 0.05403, is
// delivered air.
func TestWhatWarmingDoesNotExplain(t *testing.T) {
	var f fedProof
	f.begin(500e3, 1000e3, 1000e3)
	if f.tank(800e3, 2e3); !near(f.Cold, 0.0637553) || f.Lift != 0 {
		t.Errorf("colder by %.6f, by hand 0.063755", f.Cold)
	}
	if f.tank(852.6e3, 2e3); f.Lift != 0 {
		t.Errorf("a rise by warming counts as %.5f of delivery", f.Lift)
	}
	f.tank(900e3, 2e3)
	if want := math.Log(900./800) - 0.0637553; math.Abs(f.Lift-want) > 1e-6 || f.Cold != 0 {
		t.Errorf("lift %.6f, by hand %.6f", f.Lift, want)
	}
}

// A tank that stood at 800 kPa when the stretch began may have been drawn down from its set of 1000 kPa just before. Moves of
// less than the noise add nothing, however many there are.
func TestTankBeginsColdAndNoiseIsNoLift(t *testing.T) {
	var f fedProof
	f.begin(500e3, 800e3, 1000e3)
	if !near(f.Cold, 2./7*math.Log(1000./800)) {
		t.Errorf("colder by %.5f at the beginning", f.Cold)
	}
	for i := range 10000 {
		f.tank(800e3+1.9e3*float64(i%2), 2e3)
	}
	if f.Lift != 0 {
		t.Errorf("noise lifted by %.4f", f.Lift)
	}
}

// Proof makes an inlet as low count as rest, until the inlet is near its rest again: above 95 % of it.
func TestProvenInletIsTheUsualRest(t *testing.T) {
	e := New(testPlate(), discard{})
	e.Supply.Rest, e.Proof.Level = 600e3, 450e3
	if e.usualRest() != 450e3 {
		t.Errorf("the usual rest is %.0f", e.usualRest())
	}
	e.Inlet.Mean = 569e3
	if e.proveFed(); e.usualRest() != 450e3 {
		t.Error("569 kPa are below 95 % of 600, and the proof is forgotten")
	}
	e.Inlet.Mean = 571e3
	if e.proveFed(); e.usualRest() != 600e3 {
		t.Error("571 kPa are above 95 % of 600, and the proof lasts")
	}
}

// Only strokes and counts within a low stretch prove anything.
func TestCountsOutsideALowStretch(t *testing.T) {
	var f fedProof
	f.counted(2)
	f.From = 400e3
	f.counted(2)
	if f.Strokes != 2 || f.Counts != 1 {
		t.Errorf("%d strokes, %d counts, of one increment within", f.Strokes, f.Counts)
	}
}
