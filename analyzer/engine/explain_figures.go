package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// leakInputs give what the leak was told from, and how far the present standing time has
// come.
func (e *Engine) leakInputs() []station.Input {
	out := []station.Input{plate("tank volume with piping", e.Plate.TankVolume, 1e3, "L")}
	b := &e.Basis
	d, m := &e.Mix.Decay, &e.Mix.Makeup
	if known := e.Est[station.LeakFlow]; known.Known() {
		if d.Known() && b.Points > 0 && e.Slot.Sub(d.At) < leakOld {
			out = append(out, b.decayInputs()...)
			out = append(out, e.weighed("by decay", d)...)
		}
		if m.Known() && b.Flow > 0 && e.Slot.Sub(m.At) < leakOld {
			out = append(out, b.makeupInputs(e.Mix.Less)...)
			out = append(out, e.weighed("by make-up", m)...)
			if d.Known() && e.Slot.Sub(d.At) < leakOld {
				out = append(out, words("both are joined", e.joined(), station.Computed),
					assumed("what a leak may have changed in an hour", 100*leakDrift, "%", "common practice, no source"))
			}
		}
	}
	if b.Pressure > 0 {
		out = append(out, station.Value("pressure at which the flow is stated", b.Pressure*1e-3, "kPa abs", station.Computed))
	}
	if l := &e.Leak; l.From != 0 {
		out = append(out, station.Value("present standing time", float64(e.Slot.Sub(l.From))*1e-9, "s", station.Measured))
	}
	out = append(append(out, e.meantInputs()...), e.temperatureInputs()...)
	return append(out, anr(), assumed("detection limit", air.DetectionLimit*60*100, "% of the content a minute", "common practice, no source"))
}

// weighed gives one of the two conductances that are weighed, with its band.
func (e *Engine) weighed(how string, g *station.Estimate) []station.Input {
	return []station.Input{
		station.Value("conductance C "+how, g.Value*1e8, "dm³/(s·bar)", station.Computed),
		station.Value("lower end of its 90 % band", g.Low*1e8, "dm³/(s·bar)", station.Computed),
		station.Value("upper end", g.High*1e8, "dm³/(s·bar)", station.Computed),
		e.standard(g), at("obtained "+how, g.At),
	}
}

func (b *basis) decayInputs() []station.Input {
	out := []station.Input{
		at("window from", b.From), at("window to", b.To),
		station.Value("points of the fit", float64(b.Points), "", station.Measured),
		station.Value("loss of content", 100*60*b.Rate, "%/min", station.Computed),
		station.Value("lowest of its 90 % band", 100*60*finite(b.Low), "%/min", station.Computed),
		station.Value("highest of its 90 % band", 100*60*finite(b.High), "%/min", station.Computed),
		station.Value("thermal term theta at the window's start", 100*b.Theta, "% of the pressure", station.Computed),
	}
	if b.TauTh > 0 {
		out = append(out, station.Value("its time constant tau_th", b.TauTh, "s", station.Computed))
	}
	return append(out, station.Value("residual of the fit", 1e6*b.Residual, "ppm of the pressure, rms", station.Computed),
		words("shape of the fall", orElse(map[air.Shape]string{air.ShapeEither: "tells no exponential from a straight fall"}[b.Shape], b.Shape.String()), station.Computed),
		station.Value("volume that the standing booster adds at most, half of it counted", 1e3*b.Creep, "L", station.Computed),
		assumed("error of the tank volume in the band", 5, "%", "common practice, no source"))
}

func (b *basis) makeupInputs(less bool) []station.Input {
	name := "delivered flow made up by strokes"
	if less {
		name = "flow that the outlet's fall between recharges tells, less than the strokes'"
	}
	out := []station.Input{station.Value(name, b.Flow*60e3, "L/min ANR", station.Computed),
		station.Value("outlet meanwhile", b.Outlet*1e-3, "kPa abs", station.Measured)}
	if b.Minutes > 0 {
		return append(out, station.Value("steady minutes in a row", float64(b.Minutes), "", station.Measured),
			assumed("range of the outlet in them, at most", 100*steadyRange, "% of set", "common practice, no source"))
	}
	return append(out, station.Value("rounds of recharging and standing that are kept", float64(b.Rounds), "", station.Measured))
}

// sagInputs give the pressures behind the sag, and over how much running it was taken.
func (e *Engine) sagInputs() []station.Input {
	s := &e.Supply
	out := []station.Input{}
	if s.Rest > 0 {
		out = append(out, station.Value("resting inlet (static)", s.Rest*1e-3, "kPa gauge", station.Measured), at("last seen to rest", s.RestAt))
	} else {
		out = append(out, station.Input{Name: "resting inlet (static)", Text: "never seen to rest: the highest inlet stands in for it", Origin: station.Measured},
			station.Value("highest inlet", s.Peak*1e-3, "kPa gauge", station.Measured))
	}
	if s.SagWeight <= 0 {
		return out
	}
	ref := s.Rest
	if ref <= 0 {
		ref = s.Peak
	}
	return append(out,
		station.Value("mean inlet while stroking (dynamic)", ref*(1-s.SagSum/s.SagWeight)*1e-3, "kPa gauge", station.Computed),
		station.Value("running, the past fading", s.SagWeight, "s", station.Measured),
		station.Value("share of it beside a resting pressure of the last two minutes", 100*s.Rested/s.SagWeight, "%", station.Computed))
}

func (e *Engine) conductanceInputs() []station.Input {
	out := e.sagInputs()
	out = append(out, plate("swept volume of a drive stroke", e.Plate.SweptDrive, 1e3, "L"), plate("swept volume of a boost stroke", e.Plate.SweptBoost, 1e3, "L"))
	if c, sd, ok := e.Bal.Conductance(); ok {
		out = append(out, station.Value("C/sqrt(1-b) by the balance of cycles, at 20 °C", c*1e8, "dm³/(s·bar)", station.Computed),
			station.Value("standard deviation by header, noise and what strokes differ by", 100*sd, "%", station.Computed),
			station.Value("mean square of what cycles differ from it by, 1 as expected", e.Bal.Fit, "", station.Computed))
	}
	out = append(out, e.temperatureInputs()...)
	return append(out, assumed("critical pressure ratio b", assumedB, "", "common practice, no source"),
		station.Value("half-width of the band of the strokes' air", 100*e.Air.band(), "%", station.Computed))
}

func (e *Engine) unevenInputs() []station.Input {
	h := &e.Health
	out := []station.Input{}
	for i, name := range [...]string{"a", "b"} {
		out = append(out, station.Value("stroke times of side "+name, float64(h.N[i]), "", station.Measured))
		if h.N[i] >= sideStrokes {
			out = append(out, station.Value("median of the last 16 of side "+name, median(h.Times[i]), "s", station.Computed))
		}
	}
	return out
}

func (e *Engine) pulsationInputs() []station.Input {
	h := &e.Health
	return []station.Input{
		station.Value("ripple, peak to peak", h.Ripple*1e-3, "kPa", station.Computed),
		station.Value("stretches of two strokes it was taken over, 100 at most", h.Weight, "", station.Measured),
		station.Value("noise of the outlet that was taken off", finite(e.Ends.Out.Noise())*1e-3, "kPa rms", station.Measured),
		seen("outlet now", &e.Outlet),
	}
}

func (e *Engine) setInputs() []station.Input {
	if e.Plate.Set > 0 {
		return []station.Input{plate("set_pressure", float64(e.Plate.Set), 1e-3, "kPa gauge")}
	}
	if e.Plate.Ungoverned {
		return e.balanceInputs()
	}
	return []station.Input{plate("set_pressure", 0, 1, ""), station.Value("highest outlet of the present run", e.State.TopOutlet*1e-3, "kPa gauge", station.Measured)}
}

func (e *Engine) energyInputs() []station.Input {
	out := []station.Input{plate("tank volume with piping", e.Plate.TankVolume, 1e3, "L")}
	if e.State.HadOutlet {
		amb := e.Plate.AmbientPressure()
		p := station.Gauge(e.State.LastOutlet)
		out = append(out, station.Value("last plausible outlet", p.KPa(), "kPa gauge", station.Measured),
			station.Value("by Brode's convention, (p - p_amb) V/(kappa - 1)", air.StoredEnergyBrode(p.Absolute(amb), amb, max(0, e.Plate.TankVolume))*1e-3, "kJ", station.Computed))
	}
	return append(out, e.ambient(), assumed("ratio of specific heats kappa", air.Kappa, "", "dry air, ideal gas"))
}
