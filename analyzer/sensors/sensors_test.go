package sensors

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const t0 = station.Instant(1767225600 * station.Second)

// ideal is a booster without losses, in closed form: each stroke rests for 40 % of its time and then delivers evenly, so that the
// outlet rises by lift, less a steady draw; when it reaches top the piston stands until it has fallen by band. The inlet sags by dip
// at the end of each stroke.
type ideal struct {
	lift, draw, top, band float64 // Pa, Pa/s, Pa gauge, Pa
	inlet, dip, noise     float64 // Pa gauge, Pa, Pa rms
	stroke, step          float64 // s
	perCount              int
	cock                  [2]bool
	from                  float64 // Pa gauge
}

// lossless returns the lift of a stroke that expected asks for of the plate: the formula of its comment, with eta and warmth of the
// package air, so that the share of what is built here is 1.
func lossless(p *station.Plate, inlet, outlet, stroke float64) float64 {
	amb := p.AmbientPressure()
	p1, p2 := station.Gauge(inlet).Absolute(amb), station.Gauge(outlet).Absolute(amb)
	eta := air.VolumetricEfficiency(p1, p2, air.Pace{Mean: stroke})
	return air.Kappa * float64(p1) * p.SweptBoost * eta / p.TankVolume * math.Pow(float64(p2/p1), 0.2/1.4)
}

func testPlate() station.Plate {
	p := station.Plate{Set: 900e3, TankVolume: 20e-3}
	p.Bores(63e-3, 63e-3, 16e-3, 60e-3, true, true)
	return p
}

// play runs the booster for some seconds through a watch.
func (b ideal) play(w *Watch, p *station.Plate, seconds float64, scale func(in, out float64) (float64, float64)) {
	rng := rand.New(rand.NewPCG(1, 2))
	out, phase, strokes, stands := b.from, 0.0, 0, false
	var in, o, c Series
	end := t0
	for i := 0; float64(i)*b.step < seconds; i++ {
		at := t0.Add(int64(float64(i+1) * b.step * 1e9))
		inlet := b.inlet
		if stands {
			stands = out > b.top-b.band
		} else {
			was := phase
			if phase += b.step / b.stroke; phase >= 1 {
				phase--
				strokes++
				stands = out >= b.top
			}
			if was > 0.4 {
				out += b.lift * b.step / b.stroke / 0.6
			}
			inlet -= b.dip * was
		}
		out -= b.draw * b.step
		x, y := inlet, out
		if scale != nil {
			x, y = scale(x, y)
		}
		for ch, v := range [2]*float64{&x, &y} {
			if b.cock[ch] {
				*v = 500e3
			}
			*v += b.noise * rng.NormFloat64()
		}
		in, o = Series{append(in.T, at), append(in.V, x)}, Series{append(o.T, at), append(o.V, y)}
		c = Series{append(c.T, at), append(c.V, float64(strokes/b.perCount))}
		if next := end.Add(station.Second / 2); at >= next {
			w.Slot(in, o, c, next, 0.5, [2]float64{b.noise, b.noise}, p)
			end, in, o, c = next, Series{}, Series{}, Series{}
		}
	}
}

func usual(p *station.Plate) ideal {
	return ideal{lift: lossless(p, 600e3, 850e3, 0.4), draw: 8e3, top: 900e3, band: 100e3, inlet: 600e3, dip: 8e3, noise: 200, stroke: 0.4, step: 0.01, perCount: 2, from: 820e3}
}

// The balance finds the lift of closed form whatever is drawn, at the count that the plate says, within 4 %: 2.5 % that its parts blur, and noise.
func TestBalance(t *testing.T) {
	p := testPlate()
	for _, draw := range []float64{6e3, 12e3} {
		var w Watch
		b := usual(&p)
		b.draw = draw
		b.play(&w, &p, 1200, nil)
		if share, _ := w.Balance.Share(); !(math.Abs(share-1) < 0.06) {
			t.Errorf("draw of %g kPa/s: share %.3f, expected 1", draw/1e3, share)
		}
		wrong := p
		wrong.TankVolume *= 2
		w = Watch{}
		b.play(&w, &wrong, 1200, nil)
		if share, _ := w.Balance.Share(); !(math.Abs(share-2) < 0.12) {
			t.Errorf("draw of %g kPa/s, a plate of twice the tank: share %.3f, expected 2", draw/1e3, share)
		}
	}
}

// What the outlet climbs is the lift where nothing is drawn, and less where something is.
func TestClimb(t *testing.T) {
	p := testPlate()
	for _, c := range []struct{ draw, low, high float64 }{{1e3, 0.9, 1.04}, {8e3, 0.2, 0.9}} {
		var w Watch
		b := usual(&p)
		b.draw, b.band = c.draw, 200e3
		b.play(&w, &p, 1500, nil)
		if x := w.Climb.share(); !(x > c.low && x < c.high) {
			t.Errorf("draw of %g Pa/s: climbs by %.3f of the lift, expected %g to %g", c.draw, x, c.low, c.high)
		}
	}
}

// The rhythm of the inlet tells a counter of cycles from one of strokes: the first harmonic of two like strokes a count is none.
func TestRhythm(t *testing.T) {
	p := testPlate()
	for n, cycles := range map[int]bool{2: true, 1: false} {
		var w Watch
		b := usual(&p)
		b.perCount, b.stroke, b.lift = n, 0.6, 3e3
		b.play(&w, &p, 900, nil)
		if x := w.Rhythm.half(); math.IsNaN(x) || (x > 0.7) != cycles {
			t.Errorf("%d strokes a count: half %.2f", n, x)
		}
	}
}

// A sensor behind a closed cock has noise and nothing else; one that follows the strokes is never taken for it.
func TestClosedCocks(t *testing.T) {
	p := testPlate()
	for _, c := range []struct {
		cock [2]bool
		want station.Sides
	}{{[2]bool{}, 0}, {[2]bool{true, false}, station.InletSide}, {[2]bool{false, true}, station.OutletSide}} {
		var w Watch
		b := usual(&p)
		b.cock, b.inlet = c.cock, 600e3
		b.play(&w, &p, 900, nil)
		got, ok := w.Live.closed()
		if ok != (c.want != 0) || got.Sides != c.want {
			t.Errorf("cocks %v: %v %v", c.cock, got.Sides, ok)
		}
	}
}

// Each mistake is named, alone or among those that the traces cannot tell apart, and a sound station has none. The mistakes are put
// into the ideal booster, whose truth is known.
func TestMistakesAreNamed(t *testing.T) {
	sound := testPlate()
	const amb = 101325.0
	for _, c := range []struct {
		name  string
		plate func(*station.Plate)
		scale func(in, out float64) (float64, float64)
		count int
		want  station.Blame // its suspect and sides; none: nothing is found
	}{
		{name: "sound"},
		{name: "tank", plate: func(p *station.Plate) { p.TankVolume *= 3 }, want: station.Blame{Is: station.TankTaken}},
		{name: "stroke", plate: func(p *station.Plate) { p.Bores(63e-3, 63e-3, 16e-3, 20e-3, true, true) }, want: station.Blame{Is: station.StrokeTaken}},
		{name: "boost bore", plate: func(p *station.Plate) { p.Bores(63e-3, 130e-3, 16e-3, 60e-3, true, true) }, want: station.Blame{Is: station.BoostBoreTaken}},
		{name: "drive bore", plate: func(p *station.Plate) { p.Bores(30e-3, 63e-3, 16e-3, 60e-3, true, true) }, want: station.Blame{Is: station.DriveBoreTaken}},
		{name: "counts", plate: func(p *station.Plate) { p.Counts = station.CountsStrokes }, want: station.Blame{Is: station.CountsTaken}},
		{name: "set as absolute", plate: func(p *station.Plate) { p.Set += amb }, want: station.Blame{Is: station.SetAsAbsolute}},
		{name: "outlet absolute", scale: func(in, out float64) (float64, float64) { return in, out + amb }, want: station.Blame{Is: station.AbsoluteTaken, Sides: station.OutletSide}},
		{name: "both in bar", scale: func(in, out float64) (float64, float64) { return in / 100, out / 100 }, want: station.Blame{Is: station.UnitTaken, Sides: station.BothSides}},
		{name: "inlet's range", scale: func(in, out float64) (float64, float64) { return in * 0.625, out }, want: station.Blame{Is: station.RangeTaken, Sides: station.InletSide}},
		{name: "exchanged", scale: func(in, out float64) (float64, float64) { return out, in }, want: station.Blame{Is: station.ExchangedTaken, Sides: station.BothSides}},
	} {
		p := sound
		if c.plate != nil {
			c.plate(&p)
		}
		var w Watch
		usual(&sound).play(&w, &p, 1200, c.scale)
		told := w.Told()
		if c.want.Is == station.NoSuspect && told.N != 0 || c.want.Is != station.NoSuspect && told.Has(c.want.Is, c.want.Sides) == nil {
			t.Errorf("%s: %q", c.name, told.In(station.ReadKPa))
		}
	}
}

// While vented, a sensor that reads the atmosphere is an absolute one: an inlet above a vented outlet would flow through the check valves.
func TestVented(t *testing.T) {
	p := testPlate()
	for _, c := range []struct {
		in, out float64
		want    station.Sides
	}{{0, 0, 0}, {300, -200, 0}, {101e3, 0, station.InletSide}, {350e3, 0, 0}} {
		var w Watch
		var s [2]Series
		for i := range 1200 {
			end := t0.Add(int64(i+1) * station.Second / 2)
			at := []station.Instant{end.Add(-2), end.Add(-1)}
			s[0], s[1] = Series{at, []float64{c.in, c.in}}, Series{at, []float64{c.out, c.out}}
			w.Slot(s[0], s[1], Series{}, end, 0.5, [2]float64{100, 100}, &p)
		}
		if got := w.Told(); (got.N > 0) != (c.want != 0) || got.N > 0 && got.Has(station.AbsoluteTaken, c.want) == nil {
			t.Errorf("vented at %g and %g: %q", c.in, c.out, got.In(station.ReadKPa))
		}
	}
}

// A tank of 30 L that is 20 L by the plate: quiet recharges show it, and name the tank among what may be wrong; 30 L is none. The figures are
// those of a band of 8 %.
func TestQuietRecharges(t *testing.T) {
	for plate, found := range map[float64]bool{20e-3: true, 30e-3: false} {
		p := testPlate()
		p.TankVolume = plate
		w := Watch{Quiet: Quiet{Value: 30e-3, Low: 27.6e-3, High: 32.4e-3}}
		c := w.contradiction(&p)
		if got := c.Has(station.TankTaken, 0) != nil; got != found {
			t.Errorf("a plate of %g L: %q", plate*1e3, c.In(station.ReadKPa))
		}
	}
}
