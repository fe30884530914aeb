package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// joined says how decay and make-up were joined, where both count.
func (e *Engine) joined() string {
	d, m := &e.Mix.Decay, &e.Mix.Makeup
	switch {
	case d.Low <= m.High && m.Low <= d.High:
		return "weighed by the inverse of the squares of their standard errors"
	case e.Mix.Inside:
		return "decay counts; what make-up says beyond it is lost inside the booster"
	}
	return "they contradict each other: the later counts"
}

func (e *Engine) holeInputs() []station.Input {
	return []station.Input{
		e.figure("leak conductance C", station.LeakConductance),
		assumed("conductance C_1 of an ideal nozzle of 1 mm²", air.NozzleConductance(1e-6)*1e8, "dm³/(s·bar)", "isentropic flow, ISO 6358"),
		assumed("discharge coefficient", holeCd, "", "sharp-edged: handbook tables"),
	}
}

func (e *Engine) floorInputs() []station.Input {
	f, g := &e.Floor5, &e.Est[station.LeakAtMost]
	out := []station.Input{measured("minutes in a row, fed, with known air", float64(min(f.N, floorMinutes)), "")}
	for i := range f.Hours {
		h := &f.Hours[i]
		if !g.Known() || h.At != g.At {
			continue
		}
		const l = 60e3 // L/min
		if h.Stood > 0 {
			out = append(out, computed("what the outlet's fall tells while the piston stands", (h.Flow-h.Missed)*l, "L/min ANR"),
				computed("what noise, the sensor's steps and air that warms up may hide", h.Missed*l, "L/min ANR"), measured("stood for", h.Stood, "s"))
			continue
		}
		out = append(out, computed("delivered by the five minutes' strokes, upper band", (h.Flow-h.Stored-h.Missed)*l, "L/min ANR"),
			computed("strokes that the count may miss", h.Missed*l, "L/min ANR"),
			computed("what the outlet's fall took from the tank", h.Stored*l, "L/min ANR"))
	}
	out = append(append(out, e.meantInputs()...), e.temperatureInputs()...)
	return append(out, assumed("looked back over", floorHours, "h", "a shift: common practice, no source"))
}

// past gives how many figures the leak's history has, and how far it reaches.
func (e *Engine) past(from int) []station.Input {
	h := &e.Past
	out := []station.Input{measured("figures of the leak that are kept", float64(h.N-from), "")}
	if h.N > from {
		out = append(out, at("the first", h.Points[from].At), at("the last", h.Points[h.N-1].At))
	}
	return out
}

func (e *Engine) onsetInputs() []station.Input {
	out := e.past(0)
	var t, c, s [pastMost]float64
	if o, ok := changed(e.Past.series(&t, &c, &s)); ok && e.Est[station.LeakOnset].Known() {
		shape := "a step: the change lies between the figure before it and the first after it"
		if o.Ramp {
			shape = "a bent line: it grows since"
		}
		out = append(out, words("form", shape, station.Computed),
			computed("change after the first", o.At, "s"),
			computed("conductance C before", o.Before*1e8, "dm³/(s·bar)"), computed("conductance C at the end", o.After*1e8, "dm³/(s·bar)"),
			computed("change over its standard error", o.Score, ""))
	}
	return append(out, assumed("least change", 100*onsetRel, "% of the conductance before", "common practice, no source"))
}

func (e *Engine) growthInputs() []station.Input {
	h, g := &e.Past, &e.Est[station.LeakTrend]
	from := h.since(h.Onset)
	out := e.past(from)
	for i := from; i < h.N; i++ {
		p := &h.Points[i]
		out = append(out, computed("conductance C at "+p.At.Floor(station.Second).String(), float64(p.C)*1e8, "dm³/(s·bar)"))
	}
	if p := e.Basis.Growth; g.Known() && p > 0 {
		out = append(out, computed("median slope of the conductance C", g.Value/(p*e.airTemperature().Root())*1e8*86400, "dm³/(s·bar) a day"),
			computed("pressure p_op at which the growth is stated", p*1e-3, "kPa abs"))
	}
	return out
}

func (e *Engine) inletLeakInputs() []station.Input {
	p, b := &e.Plate, &e.Basis.Inlet
	out := []station.Input{plate("bore of the supply line", p.SupplyBore, 1e3, "mm"), plate("length of the supply line", p.SupplyLength, 1, "m"),
		plate("swept volume of a drive stroke", p.SweptDrive, 1e3, "L"), plate("swept volume of a boost stroke", p.SweptBoost, 1e3, "L")}
	if v := e.inletVolume(); v > 0 {
		out = append(out, computed("volume V of line and cylinder", v*1e3, "L"))
	}
	if b.Rest != 0 {
		out = append(out, computed("fall -d ln p1/dt", 100*60*b.Rate, "%/min"), computed("its standard error", 100*60*b.Err, "%/min"),
			measured("resting inlet p_rest before", b.Rest*1e-3, "kPa gauge"))
	}
	return append(append(out, e.temperatureInputs()...), e.ambient(), anr())
}

func (e *Engine) insideInputs() []station.Input {
	b := &e.Basis.Inside
	if b.Strokes <= 0 {
		return []station.Input{measured("rounds of recharging and standing that are kept", float64(e.Rounds.Kept), "")}
	}
	how := "the outlet's fall between the rounds, less what cools"
	if b.Window {
		how = "a standing window within the rounds, at the operating pressure"
	}
	return []station.Input{
		computed("flow that the strokes deliver by plate data", b.Strokes*60e3, "L/min ANR"),
		computed("flow that the outlet loses", b.Outlet*60e3, "L/min ANR"),
		words("obtained by", how, station.Measured),
		measured("rounds of recharging and standing that are kept", float64(e.Rounds.Kept), ""),
		assumed("what the fall tells is that of the band from", 100*toldLow, "%", "an independent model"),
		assumed("to", 100*toldHigh, "%", "an independent model"),
	}
}

// standard gives the standard error of an estimate, with its age when both were joined.
func (e *Engine) standard(g *station.Estimate) station.Input {
	s := spread(g, max(e.Mix.Decay.At, e.Mix.Makeup.At))
	if math.IsNaN(s) {
		s = 0
	}
	return computed("its standard error, by band and age", s*1e8, "dm³/(s·bar)")
}
