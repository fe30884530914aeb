package engine

import (
	"fmt"
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// headerInputs give how the sag was split between header and line.
func (e *Engine) headerInputs() []station.Input {
	h, b := &e.Hdr, &e.Basis.Header
	out := []station.Input{e.headerSensor()}
	if b.Static <= 0 || h.Weight <= 0 {
		return out
	}
	sag, line := h.Sag/h.Weight, h.Line/h.Weight
	static, mean := "resting pressure before a run (static)", "mean of the resting inlet before and after a run"
	switch {
	case b.Sensor && b.Rested:
		static, mean = "resting header (static), by the inlet's sensor", "mean header while stroking, by the inlet's sensor"
	case b.Sensor:
		static, mean, sag = "mean header while stroking (static is not known)", "the same", 0
	}
	out = append(out, measured(static, b.Static*1e-3, "kPa gauge"))
	if b.Rested {
		out = append(out, computed(mean, b.Static*(1-sag)*1e-3, "kPa gauge"))
	}
	return append(out, computed("mean inlet while stroking, by these", b.Static*(1-sag-line)*1e-3, "kPa gauge"),
		measured("running, the past fading", h.Weight, "s"))
}

// headerSensor says whether the header has one, and what it reads.
func (e *Engine) headerSensor() station.Input {
	if e.Hdr.At == 0 {
		return words("header sensor", "none, or silent: the resting inlet stands in for it", station.Measured)
	}
	return measured("header sensor", e.Hdr.Mean*1e-3, "kPa gauge")
}

func (e *Engine) headerStaticInputs() []station.Input {
	h, s := &e.Hdr, &e.Supply
	out := []station.Input{e.headerSensor()}
	if h.At != 0 {
		out = append(out, at("read at", h.At), computed("its mean over a minute", h.All*1e-3, "kPa gauge"))
	}
	if h.RestAt != 0 {
		out = append(out, computed("header while the piston stood", h.Rest*1e-3, "kPa gauge"), at("then", h.RestAt),
			computed("header less inlet sensor at rest", h.Off*1e-3, "kPa"))
	}
	if s.RestAt != 0 {
		out = append(out, computed("inlet while the piston stood", s.Rest*1e-3, "kPa gauge"), at("last seen to rest", s.RestAt))
	}
	if b := &e.Basis.Fallen; b.In > 0 {
		out = append(out, computed("inlet while the piston works, without the line's swing", b.In*1e-3, "kPa gauge"), computed("sag that was learned before, or the most that the swing allows", 100*b.Sag, "%"))
	}
	return append(out, assumed("age up to which a rest counts as the present", float64(staticAge)/float64(station.Minute60), "min", "common practice, no source"))
}

// linePressures give the pressures at which the line was judged.
func (e *Engine) linePressures() []station.Input {
	b := &e.Basis.Line
	if b.Up <= 0 {
		return nil
	}
	return []station.Input{computed("pressure before the line, static", b.Up*1e-3, "kPa abs"),
		computed("pressure behind it while stroking", b.Now*1e-3, "kPa abs"), assumed("critical pressure ratio b", assumedB, "", "common practice, no source")}
}

func (e *Engine) pipeInputs() []station.Input {
	return append(e.theLine(), e.linePressures()...)
}

// theLine gives the line's pipe.
func (e *Engine) theLine() []station.Input {
	return []station.Input{plate("bore of the supply line", e.Plate.SupplyBore, 1e3, "mm"), plate("length of the supply line", e.Plate.SupplyLength, 1, "m"),
		assumed("roughness", air.DrawnRoughness*1e6, "µm", "drawn tube or smooth hose: from memory"),
		assumed("viscosity of the air", air.Viscosity*1e6, "µPa s", "20 °C: from memory"), e.temperatureInputs()[0]}
}

func (e *Engine) neededInputs() []station.Input {
	b := &e.Basis.Line
	out := append([]station.Input{e.figure("supply conductance, C/sqrt(1-b)", station.SupplyConductance)}, e.linePressures()...)
	out = append(out, e.sagAllowed())
	if e.Est[station.HeaderSag].Known() && e.Est[station.LineSag].Known() {
		out = append(out, e.figure("the header's own sag", station.HeaderSag))
	}
	if b.Least <= 0 {
		return out
	}
	out = append(out, computed("pressure behind the line at the limit", b.Least*1e-3, "kPa abs"))
	if b.More > 0 {
		out = append(out, computed("flow at the limit over the present one, k", b.More, ""))
	}
	return out
}

// sagAllowed gives the sag that the supply may have.
func (e *Engine) sagAllowed() station.Input {
	if e.Plate.SagLimit > 0 {
		return plate("sag limit", e.Plate.SagLimit, 100, "% of resting gauge pressure")
	}
	return assumed("sag limit", 100*sagLimit, "% of resting gauge pressure", "common practice, no source")
}

func (e *Engine) boreInputs() []station.Input {
	out := append([]station.Input{e.figure("conductance that would do, C/sqrt(1-b)", station.ConductanceNeeded), e.figure("supply conductance, C/sqrt(1-b)", station.SupplyConductance), e.figure("what bore and length give, C/sqrt(1-b)", station.PipeConductance)}, e.theLine()...)
	if b := &e.Basis.Line; b.Least > 0 {
		out = append(out, computed("pressure before the line, static", b.Up*1e-3, "kPa abs"), computed("pressure behind the line at the limit", b.Least*1e-3, "kPa abs"),
			assumed("critical pressure ratio b", assumedB, "", "common practice, no source"))
	}
	return out
}

// usualInputs give a present value and the usual one it is compared with.
func usualInputs(b *baseline, factor float64, unit string) []station.Input {
	out := []station.Input{measured("full blocks of fifteen readings", float64(b.Blocks), ""), measured("readings of the present block", float64(b.N), "")}
	if b.Blocks > 0 {
		out = append(out, computed("median of the last full block", b.Recent*factor, unit), computed("usual value", b.Usual*factor, unit))
	}
	return append(out, assumed("the usual value follows over", float64(baselineMemory)/float64(24*60*station.Minute60), "days", "common practice, no source"))
}

func (e *Engine) supplyChangeInputs() []station.Input {
	return usualInputs(&e.Line.Base, 1e8, "dm³/(s·bar), C/sqrt(1-b)")
}

func (e *Engine) efficiencyChangeInputs() []station.Input {
	return usualInputs(&e.Recharge.Base, 1, "of the plate's efficiency")
}

func (e *Engine) supplyTrendInputs() []station.Input {
	d := &e.Line.Daily
	out := []station.Input{measured("full days of work", float64(d.N), "")}
	for i := range d.N {
		day := station.Instant(int64(d.Day[i]) * 24 * 60 * station.Minute60).Time().Format("2006-01-02")
		out = append(out, computed("mean of "+day+" (UTC)", d.Mean[i]*1e8, "dm³/(s·bar), C/sqrt(1-b)"))
	}
	return out
}

func (e *Engine) reachInputs() []station.Input {
	r, b := &e.Reach, &e.Basis.Reach
	out := []station.Input{plate("drive over boost piston area", e.Plate.AreaRatio, 1, "")}
	if b.Dynamic > 0 {
		out = append(out, computed("inlet while the piston works, mean over half a minute", b.Dynamic*1e-3, "kPa gauge"), at("last seen to work", r.At))
	}
	if b.Loss > 0 {
		return append(out, computed("friction F/A_b, from stalls below set", b.Loss*1e-3, "kPa"))
	}
	return append(out, words("friction F/A_b", "no stall below set seen yet: neglected", station.Assumed),
		assumed("friction in the lower end of the band", 100*unknownLoss, "% of the value", "common practice, no source"))
}

// loadInputs give the strokes and pressures of the load.
func (e *Engine) loadInputs() []station.Input {
	b := &e.Basis.Load
	if b.P1 <= 0 {
		return []station.Input{plate("drive over boost piston area", e.Plate.AreaRatio, 1, ""), plate("highest stroke rate", e.Plate.MaxRate, 60, "/min"),
			measured("readings of strokes with the governor open", float64(e.Speed.Base.N+baselineRing*e.Speed.Base.Blocks), "")}
	}
	out := []station.Input{measured("stroke rate of the last minute", b.Rate*60, "/min"),
		computed("inlet p1 while the piston works", b.P1*1e-3, "kPa abs"), computed("outlet p2, mean over half a minute", b.P2*1e-3, "kPa abs")}
	if b.Unit <= 0 {
		return append(out, plate("highest stroke rate", e.Plate.MaxRate, 60, "/min"))
	}
	out = append(out, plate("drive over boost piston area A_d/A_b", e.Plate.AreaRatio, 1, ""), e.ambient(),
		computed("k: time of a stroke in units of t, median of readings with the governor open", b.Unit, "s"))
	return append(out, air.OpenAssumptions()...)
}

func (e *Engine) freeInputs() []station.Input {
	out := append(e.loadInputs(), e.figure("header at rest", station.HeaderStatic), e.figure("supply conductance, C/sqrt(1-b)", station.SupplyConductance))
	b := &e.Basis.Load
	if b.Most <= 0 {
		return out
	}
	need := "set pressure less " + fmt.Sprintf("%.0f %%", math.Round(100*(1-setBand)))
	if e.Plate.Required > 0 {
		need = "required_pressure in the plate data"
	}
	return append(out, computed("outlet that the branch needs", b.Need*1e-3, "kPa abs"), words("taken from", need, station.FromPlate),
		computed("header", b.Up*1e-3, "kPa abs"),
		computed("most that could be delivered at that outlet", b.Most*60e3, "L/min ANR"), computed("delivered now", b.Has*60e3, "L/min ANR"))
}
