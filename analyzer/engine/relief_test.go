package engine

import (
	"cmp"
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

// plant draws a station of 34 L whose booster delivers 1.5 L ANR a stroke, three times a second, by
// the tank's mass balance alone: dp/dt = (delivered - drawn) p_0/V. Pressures are kPa gauge.
type plant struct {
	set, low     float64 // the governor stops the piston at set and starts it at low; 0: none
	relief, shut float64 // pressures at which a valve opens fully, and closes; 0: none
	steady       float64 // L/s ANR of consumers
	burst, every float64 // L ANR at once, every so many s, give or take a half
	seconds      int
	blow         float64 // L/s ANR through the open valve, 0: 25
}

// rows returns samples at 50 Hz: strokes dip the inlet and step the outlet, noise 0.3 kPa.
func (c plant) rows(seed uint64) []sample {
	rng := rand.New(rand.NewPCG(seed, 5))
	const volume, stroke, interval = 34.0, 1.5, 1.0 / 3
	p, phase, strokes, runs, open := c.start(), 0.0, 0, true, false
	next, left := c.every, 0.0
	var out []sample
	for i := range c.seconds * 50 {
		t, dt, air := float64(i)/50, 0.02, 0.0
		if c.set > 0 && p >= c.set {
			runs = false
		} else if c.set == 0 || p <= c.low {
			runs = true
		}
		dip := 0.0
		if runs {
			phase += dt / interval
			dip = 8 * math.Pow(math.Sin(math.Pi*phase), 2)
			air += stroke * dt / interval
			if phase >= 1 {
				phase--
				strokes++
			}
		}
		air -= c.steady * dt
		if c.every > 0 && t >= next {
			left, next = c.burst, next+c.every*(0.5+rng.Float64())
		}
		use := math.Min(left, 20*dt)
		left, air = left-use, air-use
		if c.relief > 0 && p >= c.relief {
			open = true
		} else if p <= c.shut {
			open = false
		}
		if open {
			air -= cmp.Or(c.blow, 25) * dt
		}
		p += air * 100 / volume
		at := t0.Add(int64(i) * 20 * station.Millisecond)
		out = append(out, sample{station.InletPressure, at, 1e3 * (600 - dip + 0.3*rng.NormFloat64())},
			sample{station.OutletPressure, at, 1e3 * (p + 0.3*rng.NormFloat64())}, sample{station.Cycles, at, float64(strokes / 2)})
	}
	return out
}

func (c plant) start() float64 {
	if c.set > 0 {
		return c.low
	}
	return 850
}

// A relief valve that pops is told, by a plate pressure some per cent off or where it lies clearly over
// set; a governor's saw, bursts of consumers and the valve's simmer are not.
func TestReliefThatPops(t *testing.T) {
	pop := plant{relief: 930, shut: 880, steady: 1.5, seconds: 400}
	slow, slower := pop, pop
	slow.blow, slower.blow, slower.seconds = 7, 4, 600
	bursts := pop
	bursts.burst, bursts.every = 7, 7
	for _, c := range []struct {
		name        string
		plant       plant
		set, relief float64 // of the plate, kPa
		want        bool
	}{
		{"pops, set turned too high", pop, 976, 930, true},
		{"a small valve: falls of 4 s, while strokes go on", slow, 976, 930, true},
		{"a valve just larger than the booster: falls of 17 s", slower, 976, 930, true},
		{"a small valve, no relief pressure given: a soft governor's saw may look like that", slow, 880, 0, false},
		{"its plate is off by 4 %", pop, 976, 967, true},
		{"the governor failed, no relief pressure given", pop, 880, 0, true},
		{"consumers in bursts beside it", bursts, 976, 930, true},
		{"its plate says something else: nothing explains it", pop, 976, 1100, false},
		{"not over set, no relief pressure given", pop, 976, 0, false},
		{"a governor's saw, its set not given", plant{set: 930, low: 905, steady: 3.2, seconds: 400}, 0, 950, false},
		{"a narrow one under heavy demand", plant{set: 930, low: 908, steady: 4.2, seconds: 400}, 0, 950, false},
		{"a governor's saw with bursts", plant{set: 930, low: 900, steady: 1.5, burst: 8, every: 6, seconds: 600}, 0, 950, false},
		{"a governor's saw at its set, the valve set as high", plant{set: 930, low: 890, steady: 3, seconds: 400}, 930, 935, false},
		{"bursts that keep it below set", plant{steady: 1.2, burst: 20, every: 6, seconds: 600}, 0, 865, false},
	} {
		e := New(testPlate(), &discard{})
		e.Plate.Set, e.Plate.Relief, e.Plate.TankVolume = station.Gauge(c.set*1e3), station.Gauge(c.relief*1e3), 34e-3
		most, level := 0.0, math.NaN()
		rows := c.plant.rows(7)
		for i := 0; i < len(rows); i += 150 { // a second at a time
			run(e, rows[i:min(i+150, len(rows))], 1)
			if g := &e.Est[station.ReliefPops]; g.Known() && g.Value > most {
				most, level = g.Value, e.Est[station.PopPressure].Value/1e3
			}
		}
		if c.plant.set > 0 && e.Pops.N > 0 {
			t.Errorf("%s: %d falls count although the piston stopped", c.name, e.Pops.N)
		}
		if (most > 0) != c.want {
			t.Errorf("%s: %g pops", c.name, most)
		}
		if c.want && math.Abs(level-930) > 3 {
			t.Errorf("%s: they begin at %.1f kPa, want 930", c.name, level)
		}
	}
}

// The binomial tail: three or more heads of four are 5/16.
func TestTail(t *testing.T) {
	if x := tail(4, 3, 0.5); math.Abs(x-5./16) > 1e-12 {
		t.Errorf("%g", x)
	}
	if x := tail(3, 0, 0.2); math.Abs(x-1) > 1e-12 {
		t.Errorf("%g", x)
	}
}

// Falls that begin at random in a rise of 60 kPa lie now and then within 1 % of the highest: of 32 about
// five. Eight of nine at one level do so by chance in 2 of 10 million (binomial, share 9.3/60).
func TestTopsAtOneLevelAreNoChance(t *testing.T) {
	ring := func(levels ...float32) (r pops) {
		for _, l := range levels {
			copy(r.Ring[:], r.Ring[1:])
			r.Ring[popsMost-1] = pop{At: t0, Level: l * 1e3, Fell: 60e3}
			r.N++
		}
		return r
	}
	var random []float32
	for i := range 32 {
		random = append(random, 930-60*float32(i)/32)
	}
	r := ring(random...)
	if level, n := r.tops(t0, false); n != 0 {
		t.Errorf("%d of falls at random begin at %g", n, level)
	}
	r = ring(929, 930, 928, 890, 930, 929, 930, 929, 930)
	if level, n := r.tops(t0, false); n != 8 || level != 930e3 {
		t.Errorf("%d falls begin at %g, want 8 at 930 kPa", n, level)
	}
	r.Highest[3] = 945e3
	if _, n := r.tops(t0, false); n != 0 {
		t.Errorf("%d falls, though more was read", n)
	}
	if _, n := r.tops(t0.Add(popsAge+1), false); n != 0 {
		t.Errorf("%d falls are remembered too long", n)
	}
}
