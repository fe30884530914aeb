package discover

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// The likeliest meaning of values that move from low to high in steps. Ranges are those of plant air and of
// what boosters make of it (common practice, no source); raw numbers those of 4-20 mA cards.
func TestGuesses(t *testing.T) {
	for _, c := range []struct {
		what            string
		low, high, step float64
		is              Kind
		unit            string
	}{
		{"plant air in bar", 5.9, 6.4, 0.01, Pressure, "bar"},
		{"boosted in bar", 8.8, 9.7, 0.01, Pressure, "bar"},
		{"boosted in kPa", 880, 990, 0.1, Pressure, "kPa"},
		{"boosted in psi", 120, 143, 0.1, Pressure, "psi"},
		{"plant air in psi", 85.2, 93.1, 0.1, Pressure, "psi"},
		{"boosted in Pa", 880_000, 995_000, 1, Pressure, "Pa"},
		{"card of 27,648 at 6 of 16 bar", 10_011, 10_702, 1, Pressure, Counts},
		{"whole numbers that are 21 to 22 bar in kPa, though a card of 4,095 sends such too", 2100, 2240, 1, Pressure, "kPa"},
		{"a voltage", 0.011, 0.019, 0.001, Other, ""},
		{"something large", 3.1e8, 3.3e8, 1000.5, Other, ""},
	} {
		l := New()
		for i := range 200 {
			share := 0.5 - 0.5*math.Cos(float64(i)/7)
			v := math.Round((c.low+share*(c.high-c.low))/c.step) * c.step
			l.Take(&Message{Topic: "a", Payload: fmt.Appendf(nil, "%.6f", v), At: began.Add(int64(i) * station.Second / 2)})
		}
		got := l.series[0].guesses()
		if got[0].Is != c.is || got[0].Unit != c.unit {
			t.Errorf("%s: %+v", c.what, got)
		}
		sum := 0.0
		for _, g := range got {
			sum += g.Sure
			if g.Sure >= 1 || g.Why == "" {
				t.Errorf("%s: %+v", c.what, g)
			}
		}
		if sum > 1.0001 {
			t.Errorf("%s: shares add up to %g", c.what, sum)
		}
	}
}

// Whole numbers that only rise: cycles, a clock, a number of messages. A piston makes at most 10 cycles a second
// (the rig's unloaded one makes 9.5 strokes).
func TestCounters(t *testing.T) {
	for what, c := range map[string]struct {
		next func(i int) int
		is   Kind
	}{
		"cycles":               {func(i int) int { return 4000 + i/3 + i/10 }, Counter},
		"a clock in ms":        {func(i int) int { return 500 * i }, Other},
		"a number of messages": {func(i int) int { return i }, Other},
		"0 and 1":              {func(i int) int { return i / 20 % 2 }, State},
	} {
		l := New()
		for i := range 100 {
			l.Take(&Message{Topic: "a", Payload: fmt.Append(nil, c.next(i)), At: began.Add(int64(i) * station.Second / 2)})
		}
		if g := l.series[0].guesses(); g[0].Is != c.is {
			t.Errorf("%s: %+v", what, g)
		}
	}
}

// Of series that have nothing to do with each other no more are taken for kin than the limit allows: 1 % of
// pairs at the limit of a single pair, whatever their memory. The band is three deviations of the binomial.
func TestChanceIsWhatItSays(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	series := func(memory float64) []float64 {
		x := make([]float64, 240)
		for i := range x {
			x[i] = r.NormFloat64()
			if i > 0 {
				x[i] += memory * x[i-1]
			}
		}
		return x
	}
	const pairs = 4000
	for _, memory := range []float64{0, 0.5, 0.9} {
		kin := 0
		for range pairs {
			if correlate(series(memory), series(memory)).z >= needed(1) {
				kin++
			}
		}
		most := chance*pairs + 3*math.Sqrt(chance*pairs)
		if float64(kin) > most {
			t.Errorf("memory %g: %d of %d pairs are taken for kin, %.0f at most", memory, kin, pairs, most)
		}
	}
}

// Fisher's z of r = 0.5 over 103 independent pairs is atanh(0.5) * 10 = 5.493 (from the formula).
func TestFisher(t *testing.T) {
	x, y := make([]float64, 103), make([]float64, 103)
	r := rand.New(rand.NewPCG(5, 6))
	for i := range x {
		x[i], y[i] = r.NormFloat64(), r.NormFloat64()
	}
	own := pearson(x, y)
	k := correlate(x, y)
	if want := math.Atanh(own) * 10; math.Abs(k.r-own) > 1e-12 || math.Abs(k.z) > math.Abs(want)+1e-9 || k.z*want < 0 {
		t.Errorf("r %g z %g, want %g and at most %g", k.r, k.z, own, want)
	}
	if v := math.Atanh(0.5) * 10; math.Abs(v-5.493) > 1e-3 {
		t.Errorf("atanh(0.5)*10 = %g", v)
	}
}

// The text of a plan holds what is not known as a remark, whatever topics and names are.
func TestWriteMarksWhatIsUnknown(t *testing.T) {
	l := New()
	for k := range 40 {
		for name, v := range map[string]string{"a\"\n# x": fmt.Sprint(10_000 + 37*(k%9)), "b": "6.1", "c": fmt.Sprint(900 + k/7)} {
			l.Take(&Message{Topic: "h/" + name, Payload: []byte(v), At: began.Add(int64(k) * station.Second)})
		}
	}
	f := l.Findings()
	p := f.Plan()
	p.Broker = "tcp://127.0.0.1:1883"
	text := string(Write(f, p))
	for _, want := range []string{"needed for all of this topic: the sensor's range", "# needed for the leak in L/min", "pressure_unit: bar", `"h/a\"\n# x"`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in:\n%s", want, text)
		}
	}
	if strings.Contains(text, "\n# x") {
		t.Errorf("a topic breaks out of its line:\n%s", text)
	}
}

// A counter is no pressure, whatever unit a form sends with it: nothing of it is to be scaled.
func TestCountersAreNotScaled(t *testing.T) {
	f := &Findings{Topics: []Topic{{Name: "a", Payload: "scalar"}}, Series: []Series{{Guesses: []Guess{{Counter, "", 0.9, "x"}}}}}
	p := &Plan{Site: "s", Broker: "tcp://127.0.0.1:1883", Stations: []Planned{{ID: "b", Channels: []Choice{{Channel: station.Cycles, Unit: Counts}}}}}
	if text := string(Write(f, p)); strings.Contains(text, "span") || !strings.Contains(text, "\n    - fixed: { \"a\": s/b/cycles }") {
		t.Error(text)
	}
}
