package engine

import (
	"bytes"
	"math"
	"testing"
	"unsafe"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const oneMinute = station.Minute60

// told gives a figure of the leak's conductance: value and half its band in 1e-10 m³/(s·Pa),
// over a window given in minutes.
func told(m station.Method, value, half float64, from, at int64) station.Estimate {
	return station.Estimate{Value: value * 1e-10, Low: math.Max(0, value-half) * 1e-10, High: (value + half) * 1e-10, Method: m, Confidence: 0.8,
		From: t0.Add(from * oneMinute), At: t0.Add(at * oneMinute)}
}

// mixed lets an engine hear of decays and make-up in the order of their ends.
func mixed(all ...station.Estimate) *Engine {
	e := New(testPlate(), &discard{})
	for _, g := range all {
		if g.Method == station.MethodDecay {
			e.Mix.Decay = g
		} else {
			e.Mix.Makeup = g
		}
		e.mixLeak(g.At)
	}
	return e
}

// Two figures of one leak are weighed by the inverse of their variance (any text book of
// statistics): 10 with half band 1 and 12 with half band 2 give 10.4 with half band 0.894.
func TestLeakFiguresAreWeighed(t *testing.T) {
	e := mixed(told(station.MethodMakeup, 12, 2, 0, 10), told(station.MethodDecay, 10, 1, 5, 10))
	g := &e.Mix.Joined
	if math.Abs(g.Value*1e10-10.4) > 1e-6 || math.Abs((g.High-g.Low)/2*1e10-2/math.Sqrt(5)) > 1e-6 || g.Method != station.MethodDecay {
		t.Errorf("got %+v", g)
	}
	if flow := &e.Est[station.LeakFlow]; math.Abs(flow.Value/(g.Value*(900e3+101325))-1) > 1e-9 {
		t.Errorf("flow %g at set, conductance %g", flow.Value, g.Value)
	}
	// the temperature of the air is not known: the bound of C at 40 °C is sqrt(293.15/313.15) of that at
	// 20 °C, and at -10 °C sqrt(293.15/263.15)
	if c := &e.Est[station.LeakConductance]; math.Abs(c.Low/g.Low-math.Sqrt(293.15/313.15)) > 1e-9 || math.Abs(c.High/g.High-math.Sqrt(293.15/263.15)) > 1e-9 {
		t.Errorf("with any temperature %+v, at 20 °C %+v", c, g)
	}
	// 0.1992 dm³/(s·bar) per mm² effective area (references, C): 10.4e-10 is a hole of
	// sqrt(4 0.104/(pi 0.65 0.1992)) mm
	want := 1e-3 * math.Sqrt(4*0.104/(math.Pi*0.65*0.1992))
	if d := e.Est[station.LeakHole].Value; math.Abs(d/want-1) > 2e-3 {
		t.Errorf("hole %g m, want %g", d, want)
	}
}

func TestLeakFiguresAgeAndContradict(t *testing.T) {
	for _, c := range []struct {
		name   string
		figs   []station.Estimate
		want   float64 // 1e-10 m³/(s·Pa)
		inside bool
	}{
		{"an old one counts little", []station.Estimate{told(station.MethodDecay, 10, 1, 0, 4), told(station.MethodMakeup, 11, 1, 295, 300)}, 10.9, false},
		{"one of another shift does not count", []station.Estimate{told(station.MethodDecay, 10, 1, 0, 4), told(station.MethodMakeup, 11, 1, 495, 500)}, 11, false},
		{"a leak that set in", []station.Estimate{told(station.MethodDecay, 0, 0.2, 0, 4), told(station.MethodMakeup, 11, 1, 5, 8)}, 11, false},
		{"a leak that was mended", []station.Estimate{told(station.MethodMakeup, 11, 1, 0, 4), told(station.MethodDecay, 0, 0.2, 5, 9)}, 0, false},
		{"a decay within the rounds says less", []station.Estimate{told(station.MethodDecay, 5, 0.5, 2, 4), told(station.MethodMakeup, 11, 1, 0, 6)}, 5, true},
		{"and goes on to", []station.Estimate{told(station.MethodDecay, 5, 0.5, 2, 4), told(station.MethodMakeup, 11, 1, 0, 6), told(station.MethodDecay, 5.1, 0.5, 6, 8)}, 5.1, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := mixed(c.figs...)
			g, i := &e.Est[station.LeakConductance], &e.Est[station.InternalLeak]
			if math.Abs(g.Value*1e10-c.want) > 0.15 {
				t.Errorf("conductance %.2f, want %.2f (1e-10)", g.Value*1e10, c.want)
			}
			if c.inside != (i.Known() && i.Low > 0) {
				t.Errorf("inside: %+v", i)
			}
		})
	}
}

// past feeds leak figures, one every some minutes, as minutes end.
func past(e *Engine, every int64, values ...float64) {
	at := e.Past.Taken
	if at == 0 {
		at = t0
	}
	for _, v := range values {
		at = at.Add(every * oneMinute)
		e.Mix.Joined = station.Estimate{Value: v * 1e-10, Low: (v - 0.5) * 1e-10, High: (v + 0.5) * 1e-10, Method: station.MethodDecay, At: at}
		e.leakMinute(&station.Minute{Start: at.Add(-oneMinute)})
	}
}

func repeat(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v + 0.1*float64(i%3)
	}
	return out
}

func TestOnsetOfALeakThatSteppedAndWasMended(t *testing.T) {
	e := New(testPlate(), &discard{})
	past(e, 20, repeat(3, 10)...)
	if o := &e.Est[station.LeakOnset]; o.Known() {
		t.Fatalf("an onset without a change: %+v", o)
	}
	past(e, 20, repeat(12, 4)...)
	o := e.Est[station.LeakOnset]
	want := float64(t0)*1e-9 + 20*60*10.5
	if !o.Known() || math.Abs(o.Value-want) > 1 || o.High-o.Low > 20*60+1 {
		t.Fatalf("onset %+v, want %g", o, want)
	}
	past(e, 20, repeat(3, 8)...)
	if o := &e.Est[station.LeakOnset]; o.Known() || e.Past.N > 8 {
		t.Errorf("after it was mended: %+v, %d points", o, e.Past.N)
	}
}

// A month of figures keeps to its bound, in order, and reaches back to the first.
func TestHistoryOfTheLeakIsBounded(t *testing.T) {
	e := New(testPlate(), &discard{})
	past(e, 5, repeat(3, 30*288)...)
	h := &e.Past
	if h.N > pastMost || h.Points[0].At != t0.Add(5*oneMinute) {
		t.Errorf("%d points, the first at %v", h.N, h.Points[0].At)
	}
	for i := 1; i < h.N; i++ {
		if h.Points[i].At <= h.Points[i-1].At {
			t.Errorf("point %d at %v, after %v", i, h.Points[i].At, h.Points[i-1].At)
		}
	}
	if tr := &e.Est[station.LeakTrend]; !tr.Known() || tr.Low > 0 || tr.High < 0 {
		t.Errorf("trend of a leak that does not grow: %+v", tr)
	}
	t.Logf("state for leaks: %d bytes a station", unsafe.Sizeof(leakPast{})+unsafe.Sizeof(leakMix{})+unsafe.Sizeof(leakFloor{})+unsafe.Sizeof(inletWatch{})+unsafe.Sizeof(wallHeat{}))
}

// A tank that falls by 100 kPa in the five minutes of 20 L gives 20 L ANR of its own: the
// floor counts it, p V/p0 (closed form), and states it at the set pressure.
func TestFloorCountsWhatTheTankGave(t *testing.T) {
	e := New(testPlate(), &discard{})
	e.Outlet.N, e.Inlet = 1, level{Mean: 600e3}
	for k := range int64(6) {
		e.Outlet.Mean = 900e3 - 20e3*float64(k)
		m := station.Minute{Start: t0.Add(k * oneMinute), StrokeMethod: station.MethodTraces, DeliveredHigh: station.MicrolitresOf(30)}
		m.StateNs[station.Stroking] = oneMinute
		e.floorMinute(&m)
	}
	f := &e.Est[station.LeakAtMost]
	a, _ := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	amb := float64(e.Plate.AmbientPressure())
	want := (5*30 + 20 + a.Boost.High) * 1e-3 / 300 * (float64(e.Plate.Set) + amb) / (850e3 + amb)
	if !f.Known() || f.Method != station.MethodBound || math.Abs(f.High/want-1) > 1e-3 {
		t.Errorf("floor %+v, want %g", f, want)
	}
	e.Est[station.LeakFlow] = station.Estimate{Value: 1e-4, Method: station.MethodDecay, At: t0.Add(6 * oneMinute)}
	e.stateFloor(t0.Add(7 * oneMinute))
	if f := &e.Est[station.LeakAtMost]; f.Known() {
		t.Errorf("a bound beside a known leak: %+v", f)
	}
}

// shutDown gives a station that strokes, then has its supply closed by a valve: the inlet
// and the outlet fall slowly.
func shutDown() []sample {
	rows := invented(60, true)
	from := 0.0 // the outlet goes on from where it was
	for _, r := range rows {
		if r.c == station.OutletPressure {
			from = r.v
		}
	}
	for i := range 200 * 20 {
		t := t0.Add(60*station.Second + int64(i)*50*station.Millisecond)
		s := float64(i) / 20
		noise := 300 * math.Sin(float64(i)*1.7)
		rows = append(rows, sample{station.InletPressure, t, 701e3*math.Exp(-s/400) - 101e3 + noise},
			sample{station.OutletPressure, t, (from+101e3)*math.Exp(-s/2000) - 101e3 - noise})
		if i%20 == 0 {
			rows = append(rows, sample{station.SupplyOpen, t, 0})
		}
	}
	return rows
}

// Leaks of both sides come out the same however the input is cut and wherever it is
// restored; with 1/400 s of an inlet side of 763 mL hose and twice 175 + 175 mL, the bound is
// V p/(tau p0), and the outlet's is V p/(tau p0) as well (closed forms).
func TestLeaksOfAClosedStation(t *testing.T) {
	p := testPlate()
	p.SupplyBore, p.SupplyLength = 9e-3, 12
	rows := shutDown()
	var first recorder
	e := New(p, &first)
	run(e, rows, 1)
	e.Flush()
	for seed := uint64(2); seed < 5; seed++ {
		var again recorder
		e := New(p, &again)
		run(e, rows[:len(rows)/2], seed)
		var buf bytes.Buffer
		if err := e.Save(&buf); err != nil {
			t.Fatal(err)
		}
		e, err := Restore(&buf, &again)
		if err != nil {
			t.Fatal(err)
		}
		run(e, rows[len(rows)/2:], seed+7)
		e.Flush()
		same(t, "cut and restored", &first, &again)
	}
	last := &first.Steps[len(first.Steps)-1].Estimates
	in, out := &last[station.InletLeak], &last[station.LeakConductance]
	v := math.Pi/4*81e-6*12 + 2*(p.SweptBoost+p.SweptDrive)
	want := v / 400 * 701e3 / 100e3
	t.Logf("inlet at most %.3g, want %.3g m³/s; outlet %.3g, want %.3g m³/(s·Pa)", in.Value, want, out.Value, 20e-3/2000/100e3)
	if !in.Known() || in.Value < 0.999*want || in.Value > 1.1*want {
		t.Errorf("inlet %+v, want %g", in, want)
	}
	if !out.Known() || math.Abs(out.Value/(20e-3/2000/100e3)-1) > 0.05 {
		t.Errorf("outlet %+v, want %g", out, 20e-3/2000/100e3)
	}
}

// Air that comes back through the check valves raises a closed inlet above its rest.
func TestBackThroughTheCheckValves(t *testing.T) {
	rows := shutDown()
	for i := range rows {
		if r := &rows[i]; r.c == station.InletPressure && r.t > t0.Add(60*station.Second) {
			r.v = 600e3 + 1e3*float64(r.t.Sub(t0.Add(60*station.Second)))*1e-9
		}
	}
	var r recorder
	e := New(testPlate(), &r)
	run(e, rows, 1)
	e.Flush()
	if at := r.Steps[len(r.Steps)-1].LeakPlace; at == station.PlaceUnknown || e.Mix.Back == 0 {
		t.Errorf("place %q", at)
	}
	e = New(testPlate(), &r)
	run(e, shutDown(), 1)
	if e.Mix.Back != 0 {
		t.Error("told of an inlet that falls")
	}
}

func TestAnotherTankForgetsTheLeak(t *testing.T) {
	e := mixed(told(station.MethodDecay, 10, 1, 5, 10))
	p := testPlate()
	p.Required = 500e3
	if e.SetPlate(p); !e.Est[station.LeakFlow].Known() {
		t.Error("forgotten for a change that has nothing to do with it")
	}
	p.TankVolume *= 2
	if e.SetPlate(p); e.Est[station.LeakFlow].Known() || e.Mix.Decay.Known() {
		t.Error("kept for another tank")
	}
}
