package engine

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// headed adds a header at 610 kPa with a sensor that reads 5 kPa more, falling by 4 kPa while
// the invented station strokes.
func headed(rows []sample) []sample {
	rng := rand.New(rand.NewPCG(3, 4))
	var out []sample
	for _, r := range rows {
		out = append(out, r)
		if r.c != station.InletPressure || r.t.Sub(t0)%(200*station.Millisecond) != 0 {
			continue
		}
		x := 605e3
		if r.t.Sub(t0)/station.Second%30 < 10 {
			x -= 4e3
		}
		out = append(out, sample{station.HeaderPressure, r.t, x + 300*rng.NormFloat64()})
	}
	return out
}

// A header channel: the same however cut, and when restored in between; its sag is what was
// drawn (4 of 600 kPa), its offset against the inlet is not taken for a fall.
func TestHeaderChannel(t *testing.T) {
	rows := headed(invented(400, true))
	var first recorder
	e := New(testPlate(), &first)
	run(e, rows, 1)
	e.Flush()
	for seed := uint64(2); seed < 4; seed++ {
		var again recorder
		e := New(testPlate(), &again)
		run(e, rows[:len(rows)/2], seed)
		var buf bytes.Buffer
		if err := e.Save(&buf); err != nil {
			t.Fatal(err)
		}
		f, err := Restore(&buf, &again)
		if err != nil {
			t.Fatal(err)
		}
		run(f, rows[len(rows)/2:], seed)
		f.Flush()
		same(t, "cut and restored, with a header", &first, &again)
	}
	est := &first.Steps[len(first.Steps)-1].Estimates
	if g := est[station.HeaderSag]; !g.Known() || math.Abs(g.Value-4./600) > 0.001 {
		t.Errorf("header sag %.4f (%s), drawn %.4f", g.Value, g.Reason, 4./600)
	}
	total, line := est[station.SupplySag], est[station.LineSag]
	if !line.Known() || math.Abs(line.Value+4./600-total.Value) > 0.001 {
		t.Errorf("line sag %.4f and the header's do not make up the whole, %.4f", line.Value, total.Value)
	}
	if g := est[station.HeaderStatic]; !g.Known() || math.Abs(g.Value-605e3) > 300 {
		t.Errorf("header at rest %.0f (%s)", g.Value, g.Reason)
	}
}

// standing gives rows of a station that stands with inlet and header at the pressures given
// from second to second; 0 leaves the header out.
func standing(seconds int, inlet, header func(s float64) float64) []sample {
	rng := rand.New(rand.NewPCG(5, 6))
	var out []sample
	for i := range seconds * 20 {
		t := t0.Add(int64(i) * 50 * station.Millisecond)
		out = append(out, sample{station.InletPressure, t, inlet(float64(i)/20) + 300*rng.NormFloat64()},
			sample{station.OutletPressure, t, 880e3 + 300*rng.NormFloat64()})
		if h := header(float64(i) / 20); h > 0 {
			out = append(out, sample{station.HeaderPressure, t, h + 300*rng.NormFloat64()})
		}
	}
	return out
}

// An inlet that falls by a fifth while the piston stands is a closed supply, unless the
// header's own sensor says that it fell with it. A header that is gone is closed all the same.
func TestHeaderTellsLowFromClosed(t *testing.T) {
	falls := func(to float64) func(float64) float64 { // within two seconds
		return func(s float64) float64 { return 600e3 + (to-600e3)*math.Min(1, math.Max(0, (s-60)/2)) }
	}
	none := func(float64) float64 { return 0 }
	for _, c := range []struct {
		name          string
		inlet, header func(float64) float64
		shut          bool
	}{
		{"no header sensor", falls(480e3), none, true},
		{"the header stays", falls(480e3), falls(600e3), true},
		{"the header falls too", falls(480e3), falls(480e3), false},
		{"the header is gone", falls(5e3), falls(5e3), true},
		{"the header reads nothing", falls(480e3), falls(1), true},
	} {
		var r recorder
		e := New(testPlate(), &r)
		run(e, standing(120, c.inlet, c.header), 1)
		e.Flush()
		last := &r.Steps[len(r.Steps)-1]
		if (last.ShutdownAt != 0) != c.shut {
			t.Errorf("%s: %s, shut down %v, want %v", c.name, last.State, last.ShutdownAt != 0, c.shut)
		}
		if g := last.Estimates[station.HeaderStatic]; !c.shut && (!g.Known() || math.Abs(g.Value-480e3) > 3e3) {
			t.Errorf("%s: header at rest %.0f (%s)", c.name, g.Value, g.Reason)
		}
	}
}

// A baseline follows a lasting change slowly, and forgets nothing because of one odd block.
func TestBaseline(t *testing.T) {
	var b baseline
	at := t0
	feed := func(x float64, blocks int) {
		for range blocks * baselineRing {
			b.put(x, at, 60*station.Second)
			at = at.Add(60 * station.Second)
		}
	}
	if feed(10, 1); b.Usual != 10 {
		t.Fatalf("usual %g after the first block", b.Usual)
	}
	if _, ok := b.change(); ok {
		t.Error("one block tells a change")
	}
	feed(10, 3)
	if feed(7, 4); math.Abs(b.Usual-10) > 0.02 {
		t.Errorf("an hour moved the usual value to %g", b.Usual)
	}
	if x, ok := b.change(); !ok || math.Abs(x+0.3) > 0.01 {
		t.Errorf("change %g, want -0.3", x)
	}
	feed(7, 4*24*30) // a month: 1/e of the change is left
	if want := 7 + 3/math.E; math.Abs(b.Usual-want) > 0.1 {
		t.Errorf("a month moved the usual value to %g, want %g", b.Usual, want)
	}
}

// The trend over days of a filter that loses 2 % of 6 dm³/(s·bar) a day, with 3 % of noise.
func TestTrendOverDays(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	inside := 0
	for range 40 {
		var d daily
		at := t0
		for day := range 12 {
			for range 20 {
				d.put(6e-8*(1-0.02*float64(day))*(1+0.03*rng.NormFloat64()), at)
				at = at.Add(24 * 3600 * station.Second / 20)
			}
		}
		g := d.trend(at)
		want := -0.02 * 6e-8 / 86400
		if !g.Known() || math.Abs(g.Value/want-1) > 0.2 {
			t.Errorf("slope %g (%s), drawn %g", g.Value, g.Reason, want)
		}
		if g.Low <= want && want <= g.High {
			inside++
		}
	}
	if inside < 31 {
		t.Errorf("the 90 %% band holds the truth in %d of 40", inside)
	}
	var few daily
	few.put(1, t0)
	few.put(1, t0.Add(24*3600*station.Second))
	if g := few.trend(t0); g.Known() {
		t.Error("one day has a trend")
	}
}

// Wear belongs to the booster: cycles count on through a clock step, and begin anew with
// another serial number or date of overhaul.
func TestCyclesSinceOverhaul(t *testing.T) {
	p := testPlate()
	var r recorder
	e := New(p, &r)
	rows := invented(200, true)
	run(e, rows, 1)
	e.Flush()
	if g := e.Est[station.CyclesSinceOverhaul]; g.Known() || g.Reason == "" {
		t.Error("cycles of a booster without a name")
	}
	p.Serial, p.Overhauled = "B-7", "2025-11-01"
	var s recorder
	e = New(p, &s)
	half := len(rows) / 2
	run(e, rows[:half], 1)
	e.wearFigure(e.Slot)
	before := e.Est[station.CyclesSinceOverhaul]
	if want := float64(len(s.Strokes) / 2); before.Value != want || want < 10 || before.From.Sub(t0) > 20*station.Second {
		t.Errorf("%g cycles since %s, the observer saw %g", before.Value, before.From, want)
	}
	p.Overhauled = "2026-01-01"
	e.SetPlate(p)
	seen := len(s.Strokes)
	run(e, rows[half:], 1)
	e.Flush()
	e.wearFigure(e.Slot)
	after := e.Est[station.CyclesSinceOverhaul].Value
	if want := float64(len(s.Strokes)-seen) / 2; math.Abs(after-want) > 12 || want < 20 {
		t.Errorf("%g cycles after the overhaul, the observer saw %g", after, want)
	}
}
