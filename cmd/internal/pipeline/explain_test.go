package pipeline_test

import (
	"math"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// explained gives a unit's explanations by name, with their inputs by name.
func explained(u *pipeline.Unit) (map[string]station.Explanation, func(figure, input string) float64) {
	all := map[string]station.Explanation{}
	for _, x := range u.Explain() {
		all[x.Name] = x
	}
	return all, func(figure, input string) float64 {
		for _, i := range all[figure].Inputs {
			if i.Name == input && i.Text == "" {
				return i.Value
			}
		}
		return math.NaN()
	}
}

// Whoever puts the inputs of an explanation into its formula gets the figure: closed forms,
// written down here from the formulas and not from the engine.
func TestInputsGiveTheFigure(t *testing.T) {
	u, _ := play(virtual(t, "clamp-3", rig.Fault{Kind: rig.OutletLeak, Level: 2e-11, From: rigStart}), 1800, nil)
	all, in := explained(u)
	near := func(name string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-3*math.Abs(want)) || want == 0 {
			t.Errorf("%s is %g, its inputs give %g", name, got, want)
		}
	}
	leak := all["leak_flow"]
	if leak.Estimate.Method != station.MethodDecay {
		t.Fatalf("the leak is told by %s (%s)", leak.Estimate.Method, leak.Estimate.Reason)
	}
	rate, volume := in("leak_flow", "loss of content")/100/60, in("leak_flow", "tank volume with piping")*1e-3
	near("conductance by decay", in("leak_conductance", "conductance C by decay")*1e-8, (volume+in("leak_flow", "volume that the standing booster adds at most, half of it counted")*1e-3/2)*rate/100e3)
	near("conductance by make-up", in("leak_conductance", "conductance C by make-up")*1e-8, in("leak_flow", "delivered flow made up by strokes")/60e3/(in("leak_flow", "outlet meanwhile")*1e3))
	c := all["leak_conductance"].Estimate.Value
	near("leak flow", leak.Estimate.Value, c*in("leak_flow", "pressure at which the flow is stated")*1e3)
	near("leak conductance", c, joined(all["leak_conductance"].Inputs))
	p, amb, k := in("stored_energy", "last plausible outlet")*1e3, in("stored_energy", "ambient pressure")*1e3, in("stored_energy", "ratio of specific heats kappa")
	p += amb
	near("stored energy", all["stored_energy"].Estimate.Value, p*volume/(k-1)*(1-math.Pow(amb/p, (k-1)/k)))
}

// joined weighs decay and make-up by their standard errors, dm³/(s·bar) to SI.
func joined(inputs []station.Input) float64 {
	var sum, weights, c float64
	for _, i := range inputs {
		switch {
		case strings.HasPrefix(i.Name, "conductance C by "):
			c = i.Value
		case i.Name == "its standard error, by band and age":
			sum, weights = sum+c/(i.Value*i.Value), weights+1/(i.Value*i.Value)
		}
	}
	return sum / weights * 1e-8
}

// The same of what strokes show, on a station that works.
func TestInputsGiveTheFigureOfAWorkingStation(t *testing.T) {
	u, _ := play(virtual(t, "pack-1"), 1200, nil)
	all, in := explained(u)
	static, dynamic := in("supply_sag", "resting inlet (static)"), in("supply_sag", "mean inlet while stroking (dynamic)")
	for name, want := range map[string]float64{
		"supply_sag":         (static - dynamic) / static,
		"supply_conductance": in("supply_conductance", "C/sqrt(1-b) by the balance of cycles, at 20 °C") * 1e-8,
	} {
		got := all[name].Estimate
		if !got.Known() || !(math.Abs(got.Value-want) < 0.02*want) { // the resting inlet goes on being followed
			t.Errorf("%s is %g (%s), its inputs give %g", name, got.Value, got.Reason, want)
		}
	}
	// the air of a stroke, by the formulas of the explanations
	p1, p2, amb := in("delivered_air", "inlet now")*1e3, in("delivered_air", "outlet now")*1e3, in("exhaust_air", "ambient pressure")*1e3
	c, l0, l1 := in("delivered_air", "dead volume of a boost chamber over its swept volume, c"), in("delivered_air", "l0: loss by cracking pressure and warm chambers"), in("delivered_air", "l1: loss by the inlet check valve's drop, times the stroke's time squared")
	pace := in("delivered_air", "t: time of a stroke, of the last ones, or of full speed where none is known")
	eta := 1 - c*(math.Pow((p2+amb)/(p1+amb), 1/1.4)-1) - l0 - l1/(pace*pace)
	boost := (p1 + amb) * in("delivered_air", "swept volume of a boost stroke") * eta / 100e3
	low := amb + (p2-p1)/in("exhaust_air", "drive over boost piston area")
	left := (p1 + amb - low) / (p1 + amb)
	of := func(name string) float64 { return in("exhaust_air", name) }
	took := of("t: time of the last stroke")
	full := of("T: time of the fastest strokes, at the usual load, within what full speed may be") * math.Sqrt(of("x: (p1 - p_low)/p1 of the usual load")/left)
	g := math.Exp(-of("n: how fast the back pressure blows down") * math.Max(0, took/full-1))
	stood := of("t_s: time after which a stroke has stood")
	pd := low + (p1+amb)*(of("drag")*(1-g)+of("open")*g*left+of("restart")*took*took/(took*took+stood*stood))
	v := of("swept volume of a drive stroke")
	drive := (pd*v + (pd-amb)*of("dead volume of a drive chamber over its swept volume")*v) / 100e3
	for name, pair := range map[string][2]float64{
		"delivered a stroke": {in("delivered_air", "delivered a stroke now"), boost},
		"exhausted a stroke": {in("exhaust_air", "exhausted a stroke now"), drive},
		"drawn in a stroke":  {in("inlet_air", "drawn in a stroke now"), boost + drive},
	} {
		if !(math.Abs(pair[0]-pair[1]) < 1e-6*pair[1]) {
			t.Errorf("%s: %g, by the formula %g", name, pair[0], pair[1])
		}
	}
}
