package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

func (e *Engine) inletZeroInputs() []station.Input {
	return zeroInputs(&e.Doubt.Zero.In, seen("inlet now", &e.Inlet))
}

func (e *Engine) outletZeroInputs() []station.Input {
	return zeroInputs(&e.Doubt.Zero.Out, seen("outlet now", &e.Outlet))
}

// zeroInputs give where a sensor rested while vented.
func zeroInputs(z *zero, now station.Input) []station.Input {
	out := []station.Input{now}
	if z.First != 0 {
		out = append(out, measured("mean of the last rest that counts", z.Value*1e-3, "kPa gauge"), at("taken", z.At),
			measured("mean of the earliest", z.Earliest*1e-3, "kPa gauge"), at("taken then", z.First))
	}
	return append(out, assumed("at rest within, of atmosphere", ventedAtMost*1e-3, "kPa", "common practice, no source"),
		assumed("for", float64(ventedFor)*1e-9, "s", "common practice, no source"),
		assumed("a larger one is an offset, and the sensor is doubted: more than", zeroLimit*1e-3, "kPa", "common practice, no source"))
}

func (e *Engine) offsetInputs() []station.Input {
	o := &e.Doubt.Zero.Offset
	out := []station.Input{seen("inlet now", &e.Inlet), seen("outlet now", &e.Outlet), plate("drive over boost piston area A_d/A_b", e.Plate.AreaRatio, 1, "")}
	if o.Seen {
		out = append(out, measured("least r2 - r1 of the present day", (o.High-cracks)*1e-3, "kPa"))
	}
	if o.OldSeen {
		out = append(out, measured("least r2 - r1 of the day before", (o.OldHigh-cracks)*1e-3, "kPa"))
	}
	if o.LowSeen {
		out = append(out, computed("greatest r2 - r1 (1 + A_d/A_b) of the present day", o.Low*1e-3, "kPa"))
	}
	if o.OldLower {
		out = append(out, computed("greatest r2 - r1 (1 + A_d/A_b) of the day before", o.OldLow*1e-3, "kPa"))
	}
	return append(out, assumed("2 p_crack of the check valves", cracks*1e-3, "kPa", "common practice, no source"))
}

func (e *Engine) inletNoiseInputs() []station.Input {
	return noiseInputs(&e.Ends.In, &e.Est[station.InletNoise])
}

func (e *Engine) outletNoiseInputs() []station.Input {
	return noiseInputs(&e.Ends.Out, &e.Est[station.OutletNoise])
}

// noiseInputs give the second differences of samples whose noise was told.
func noiseInputs(d *stroke.Trace, g *station.Estimate) []station.Input {
	out := []station.Input{measured("samples of the segment", float64(d.N), ""), measured("samples a second", finite(d.Rate()), "1/s")}
	if g.Known() {
		out = append(out, measured("mean |second difference|, the past fading", g.Value*math.Sqrt(6)*math.Sqrt(2/math.Pi)*1e-3, "kPa"))
	}
	return out
}

func (e *Engine) mismatchInputs() []station.Input {
	m, b := &e.Mismatch, &e.Basis.Compare
	out := []station.Input{}
	if b.most() > 0 {
		out = append(out, measured("strokes seen in the last comparison", float64(b.Seen), ""), measured("strokes counted in it", float64(b.Counted), ""))
	}
	return append(out, measured("seen since, in runs that count", float64(m.All.Seen), ""), measured("counted since", float64(m.All.Counted), ""),
		assumed("strokes of a comparison", mismatchStrokes, "", "common practice, no source"),
		assumed("strokes of a run that counts, at least", mismatchRun, "", "common practice, no source"),
		assumed("stated at most", 100*mostMismatch, "%", "a counter that stands still"))
}
