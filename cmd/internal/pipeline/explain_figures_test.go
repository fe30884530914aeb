package pipeline_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// facts is the inputs of an explanation by name, for those who redo its sum.
type facts map[string]station.Input

func (x facts) of(name string) float64 {
	if i, ok := x[name]; ok && i.Text == "" {
		return i.Value
	}
	return math.NaN()
}

// when gives a time, s since 1970.
func (x facts) when(name string) float64 {
	at, err := time.Parse(time.RFC3339Nano, x[name].Text)
	if err != nil {
		return math.NaN()
	}
	return float64(at.Unix())
}

// psi is the flow function of ISO 6358.
func psi(r, b float64) float64 { return math.Sqrt(1 - math.Pow(math.Max(0, r-b)/(1-b), 2)) }

// pipeFlow gives m³/s ANR through a smooth pipe by the formulas that the explanation names,
// 287.05 J/(kg K) and 1.185 kg/m³.
func pipeFlow(x facts, bore, p1, p2 float64) float64 {
	length, rough, mu, temp := x.of("length of the supply line"), x.of("roughness")*1e-6, x.of("viscosity of the air")*1e-6, x.of("temperature of the air")+273.15
	area, m, f := math.Pi/4*bore*bore, 0.0, 0.02
	for range 50 {
		m = area * math.Sqrt((p1*p1-p2*p2)/(287.05*temp*(f*length/bore+2*math.Log(p1/p2))))
		re := 4 * m / (math.Pi * bore * mu)
		f = math.Pow(-2*math.Log10(rough/bore/3.7+2.51/(re*math.Sqrt(f))), -2)
	}
	return m / 1.185
}

// lineEnds gives the pressures before and behind the line, Pa abs, and b.
func lineEnds(x facts, behind string) (up, down, b float64) {
	return x.of("pressure before the line, static") * 1e3, x.of(behind) * 1e3, x.of("critical pressure ratio b")
}

const (
	nowBehind   = "pressure behind it while stroking"
	leastBehind = "pressure behind the line at the limit"
)

func usualRatio(x facts) float64 {
	return x.of("median of the last full block")/x.of("usual value") - 1
}

// openTime is the time of a stroke with the governor open.
func openTime(x facts) float64 {
	p1, p2, amb := x.of("inlet p1 while the piston works"), x.of("outlet p2, mean over half a minute"), x.of("ambient pressure")
	load := (amb+(p2-p1)/x.of("drive over boost piston area A_d/A_b"))/p1 + x.of("friction, share of p1")
	return x.of("k: time of a stroke in units of t, median of readings with the governor open") *
		(x.of("what a stroke takes whatever the load, share of the filling time") + load/psi(load, x.of("critical pressure ratio of the drive's feed, in psi")))
}

// gained gives what a tank of 1 m³ took in over the quiet rounds, m³ ANR.
func gained(x facts) float64 {
	return x.of("rise of the tank over them, sum of (p' - p)/p_0") + x.of("rate of the leak")/6000*x.of("sum of p_mean t/p_0, with the share of what a standing booster creeps")
}

// growth is Sen's slope through the conductances, at the pressure that is told.
func growth(x facts) float64 {
	var t, c, slopes []float64
	for name, i := range x {
		if at, ok := strings.CutPrefix(name, "conductance C at "); ok && i.Text == "" {
			when, _ := time.Parse(time.RFC3339Nano, at)
			t, c = append(t, float64(when.Unix())), append(c, i.Value*1e-8)
		}
	}
	for i := range t {
		for j := range i {
			slopes = append(slopes, (c[i]-c[j])/(t[i]-t[j]))
		}
	}
	slices.Sort(slopes)
	n := len(slopes)
	return (slopes[n/2] + slopes[(n-1)/2]) / 2 * x.of("pressure p_op at which the growth is stated") * 1e3
}

// header gives its pressure at rest and meanwhile, by its sensor or by rests of the inlet.
func header(x facts) (static, head float64) {
	if static = x.of("resting header (static), by the inlet's sensor"); static > 0 {
		return static, x.of("mean header while stroking, by the inlet's sensor")
	}
	return x.of("resting pressure before a run (static)"), x.of("mean of the resting inlet before and after a run")
}

// redo gives figures from their inputs, in SI, by the formulas of the table of figures.
var redo = map[string]func(facts) float64{
	"leak_hole": func(x facts) float64 {
		area := x.of("leak conductance C") / x.of("conductance C_1 of an ideal nozzle of 1 mm²") / x.of("discharge coefficient")
		return math.Sqrt(4*area/math.Pi) * 1e-3
	},
	"leak_at_most": func(x facts) float64 {
		if _, ok := x["stood for"]; ok {
			return (x.of("what the outlet's fall tells while the piston stands") + x.of("what noise, the sensor's steps and air that warms up may hide")) / 60e3
		}
		return (x.of("delivered by the five minutes' strokes, upper band") + x.of("strokes that the count may miss") + x.of("what the outlet's fall took from the tank")) / 60e3
	},
	"outlet_draw": func(x facts) float64 {
		tank := x.of("tank volume") * (x.of("outlet when the window began") - x.of("outlet when it ended")) / x.of("p_0: pressure of ANR") * x.of("T_0 over the temperature of the air")
		return math.Max(0, x.of("air that strokes delivered in the window")+tank) * 1e-3 / x.of("length of the window")
	},
	"draw_over_usual": func(x facts) float64 {
		return math.Max(0, x.of("draw over the outlet's absolute pressure")) / x.of("highest that was usual")
	},
	"leak_onset": func(x facts) float64 { return x.when("the first") + x.of("change after the first") },
	"leak_trend": growth,
	"inlet_leak": func(x facts) float64 {
		bore := x.of("bore of the supply line") * 1e-3
		v := math.Pi/4*bore*bore*x.of("length of the supply line") + 2e-3*(x.of("swept volume of a drive stroke")+x.of("swept volume of a boost stroke"))
		r := (math.Max(0, x.of("fall -d ln p1/dt")) + 1.645*x.of("its standard error")) / 6000
		return v * r * (x.of("resting inlet p_rest before") + x.of("ambient pressure")) / x.of("p_0: pressure of ANR")
	},
	"internal_leak": func(x facts) float64 {
		return (x.of("flow that the strokes deliver by plate data") - x.of("flow that the outlet loses")) / 60e3
	},
	"header_sag": func(x facts) float64 {
		static, head := header(x)
		return (static - head) / static
	},
	"line_sag": func(x facts) float64 {
		static, head := header(x)
		return (head - x.of("mean inlet while stroking, by these")) / static
	},
	"header_static": func(x facts) float64 {
		if p := x.of("inlet while the piston works, without the line's swing"); !math.IsNaN(p) {
			return p * 1e3 / (1 - x.of("sag that was learned before, or the most that the swing allows")/100)
		}
		if p := x.of("header while the piston stood"); !math.IsNaN(p) {
			return p * 1e3
		}
		return x.of("inlet while the piston stood") * 1e3
	},
	"pipe_conductance": func(x facts) float64 {
		up, now, b := lineEnds(x, nowBehind)
		return pipeFlow(x, x.of("bore of the supply line")*1e-3, up, now) / (up * psi(now/up, b) * math.Sqrt(1-b))
	},
	"supply_change": usualRatio,
	"conductance_needed": func(x facts) float64 {
		up, now, b := lineEnds(x, nowBehind)
		_, least, _ := lineEnds(x, leastBehind)
		return x.of("supply conductance, C/sqrt(1-b)") * 1e-8 * x.of("flow at the limit over the present one, k") * psi(now/up, b) / psi(least/up, b)
	},
	"bore_needed": func(x facts) float64 {
		up, least, b := lineEnds(x, leastBehind)
		flow, low, high := x.of("conductance that would do, C/sqrt(1-b)")*1e-8*math.Sqrt(1-b)*up*psi(least/up, b), 1e-3, 0.1
		for range 50 {
			if d := (low + high) / 2; pipeFlow(x, d, up, least) < flow {
				low = d
			} else {
				high = d
			}
		}
		return low
	},
	"reachable_pressure": func(x facts) float64 {
		p2 := x.of("inlet while the piston works, mean over half a minute") * (1 + x.of("drive over boost piston area"))
		if f := x["friction F/A_b, from stalls below set"]; f.Name != "" {
			p2 -= f.Value
		}
		return p2 * 1e3
	},
	"volumetric_efficiency": func(x facts) float64 {
		return x.of("tank volume with piping V") * gained(x) / x.of("sum of p1 V_b/p_0: swept volume at inlet condition, at 20 °C")
	},
	"stroke_delivery": func(x facts) float64 {
		return x.of("tank volume with piping V") * 1e-3 * gained(x) / x.of("strokes N in them") * x.of("T_0/T, T_0 = 20 °C")
	},
	"tank_volume": func(x facts) float64 {
		return x.of("air that the strokes should deliver, by the assumed efficiency, at 20 °C") * 1e-3 / gained(x)
	},
	"inlet_over_delivered": func(x facts) float64 {
		return 1 + x.of("exhausted a stroke m_d, mean")/x.of("delivered a stroke m_b, mean")
	},
	"meter_ratio": func(x facts) float64 {
		return x.of("metered inlet air in them") / x.of("inlet air by plate data and recharges in them")
	},
	"load":         func(x facts) float64 { return x.of("stroke rate of the last minute") / 60 * openTime(x) },
	"highest_rate": func(x facts) float64 { return 1 / openTime(x) },
	"free_capacity": func(x facts) float64 {
		return math.Max(0, x.of("most that could be delivered at that outlet")-x.of("delivered now")) / 60e3
	},
	"starts_hour": func(x facts) float64 {
		return 60 * x.of("starts in the minutes watched") / x.of("minutes watched of the last hour")
	},
	"starts_10min":          func(x facts) float64 { return x.of("starts in the last ten minutes") },
	"stroke_time_change":    usualRatio,
	"efficiency_change":     usualRatio,
	"cycles_since_overhaul": func(x facts) float64 { return math.Floor(x.of("strokes since it is watched") / 2) },
	"set_shift":             func(x facts) float64 { return (x.of("median of the last full block") - x.of("usual value")) * 1e3 },
	"inlet_zero":            func(x facts) float64 { return x.of("mean of the last rest that counts") * 1e3 },
	"outlet_zero":           func(x facts) float64 { return x.of("mean of the last rest that counts") * 1e3 },
	"outlet_offset": func(x facts) float64 {
		return (x.of("least r2 - r1 of the present day") + x.of("2 p_crack of the check valves")) * 1e3
	},
	"inlet_noise":  noiseOf,
	"outlet_noise": noiseOf,
	"count_mismatch": func(x facts) float64 {
		return x.of("strokes seen in the last comparison")/x.of("strokes counted in it") - 1
	},
}

func noiseOf(x facts) float64 {
	return x.of("mean |second difference|, the past fading") * 1e3 / math.Sqrt(6) / math.Sqrt(2/math.Pi)
}

// works gives stations in which each of the figures becomes known somewhere.
func works(t *testing.T) map[string]*pipeline.Unit {
	out := map[string]*pipeline.Unit{}
	still := virtual(t, "clamp-3", rig.Fault{Kind: rig.OutletLeak, Level: 2e-11, From: rigStart})
	out["quiet"], _ = play(still, 3600, nil)

	busy := virtual(t, "pack-1", rig.Fault{Kind: rig.SupplyNarrow, Level: 0.5, From: rigStart})
	// a smooth pipe that passes what the narrowed line does, 3.6 dm³/(s·bar), so that its bore is asked for
	busy.Plate.SupplyBore, busy.Plate.SupplyLength, busy.Plate.Serial = 8.2e-3, 8, "17"
	out["busy"], _ = play(busy, 3600, nil)

	headed := virtual(t, "pack-1")
	headed.Sensors.Header = true
	out["headed"], _ = play(headed, 900, nil)

	plain := virtual(t, "pack-1")
	out["plain"], _ = play(plain, 2700, nil)

	grows := leaky(20, 0, 500, 0, 7)
	grows.Rhythm, grows.Sensors.Rate = rig.Rhythm{}, 20
	grows.Faults = []rig.Fault{{Kind: rig.OutletLeak, Level: holeC(0.9), From: rigStart.Add(2 * 3600 * station.Second), Grow: 3 * 3600 * station.Second}}
	out["grows"] = seen(grows, 4*3600+1800, nil)

	shut := leaky(20, 0, 500, 120, 7)
	shut.Plate.SupplyBore, shut.Plate.SupplyLength = 9e-3, 12
	shut.Params.Leaks.Line = model.Nozzle{C: holeC(0.3), B: 0.3}
	shut.Faults = []rig.Fault{{Kind: rig.Trapped, From: rigStart.Add(200 * station.Second)}}
	out["shut"] = seen(shut, 500, nil)

	vented := leaky(20, 0, 500, 120, 7)
	vented.Faults = []rig.Fault{{Kind: rig.Vented, From: rigStart.Add(200 * station.Second)}}
	out["vented"] = seen(vented, 500, nil)

	inside := leaky(50, 0.4, 500, 0, 7)
	inside.Faults = append(inside.Faults, rig.Fault{Kind: rig.CheckValveLeak, Level: 1e-8})
	inside.Rhythm = rig.Rhythm{}
	out["inside"] = seen(inside, 1800, nil)

	rests := newBench(quiet(1))
	rests.hours(6)
	out["rests"] = rests.u

	metered := unusual(1)
	metered.Sensors.Flow = true
	b := newBench(metered)
	b.run(900)
	out["metered"] = b.u
	return out
}

// Each figure that is a closed sum of its inputs is that sum, written down here from the
// formulas and not from the engine, and each of them is known at some station.
func TestSumsOfInputsGiveTheFigures(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	seen := map[string]int{}
	for name, u := range works(t) {
		for _, x := range u.Explain() {
			sum := redo[x.Name]
			if sum == nil || !x.Estimate.Known() {
				continue
			}
			in := facts{}
			for _, i := range x.Inputs {
				in[i.Name] = i
			}
			got, want := x.Estimate.Value, sum(in)
			if x.Name == "leak_onset" { // the first figure's time is told to the second
				want += math.Min(1, math.Max(0, got-want))
			}
			if x.Name == "internal_leak" && got == 0 {
				want = 0 // none beyond the band
			}
			near := 1e-3*math.Abs(want) + 1e-9/x.Factor
			if x.Name == "leak_trend" { // times to the second
				near = 5e-3 * math.Abs(want)
			}
			if !(math.Abs(got-want) <= near) {
				t.Errorf("%s: %s is %g, its inputs give %g", name, x.Name, got, want)
			}
			if got != 0 {
				seen[x.Name]++
			}
		}
	}
	for name := range redo {
		if seen[name] == 0 {
			t.Errorf("%s was known, and not zero, at no station", name)
		}
	}
}

// Whoever reads totals of air finds what they went by: plate data, recharges, a meter and when,
// and whether the station has drifted since.
func TestAirSaysWhatItGoesBy(t *testing.T) {
	by := func(u *pipeline.Unit, sum, name string) string {
		for _, x := range u.Explain() {
			for _, i := range x.Inputs {
				if x.Name == sum && i.Name == name {
					return i.Text
				}
			}
		}
		return ""
	}
	const boost, drive = "delivered air of a stroke goes by", "exhausted air of a stroke goes by"
	says := func(u *pipeline.Unit, sum, name, want string) {
		t.Helper()
		if text := by(u, sum, name); !strings.Contains(text, want) {
			t.Errorf("%s: %s: %q, want %q", sum, name, text, want)
		}
	}
	u, _ := play(virtual(t, "pack-1"), 300, nil)
	says(u, "delivered_air", boost, "plate data and assumptions alone")
	says(u, "inlet_air", drive, "no flow meter was lent")
	u, _ = play(virtual(t, "clamp-3", rig.Fault{Kind: rig.OutletLeak, Level: 2e-11, From: rigStart}), 3600, nil)
	says(u, "delivered_air", boost, "quiet recharges up to 20")
	s := unusual(1)
	s.Sensors.Flow = true
	b := newBench(s)
	b.run(1800)
	says(b.u, "exhaust_air", drive, "was lent from 20")
	says(b.u, "inlet_air", drive, "has not drifted")
	b.v.Cause(rig.Fault{Kind: rig.HeaderLow, Level: 120e3})
	b.run(900, station.InletFlow)
	says(b.u, "inlet_air", drive, "; the station has drifted")
}
