package engine

import (
	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// quietInputs give the sums over the quiet rounds that the air of a stroke was learned from.
func (e *Engine) quietInputs() []station.Input {
	d, r := &e.Basis.Quiet, &e.Recharge
	out := []station.Input{plate("tank volume with piping V", e.Plate.TankVolume, 1e3, "L"),
		plate("swept volume of a boost stroke", e.Plate.SweptBoost, 1e3, "L"), measured("quiet rounds that are kept", float64(r.Kept), "")}
	if d.Rounds == 0 || d.Lost <= 0 {
		return out
	}
	if e.Plate.TankVolume <= 0 && e.Basis.Tank > 0 {
		out = append(out, computed("tank volume that was learned first, in its place", e.Basis.Tank*1e3, "L"))
	}
	rate := (d.Air - d.Rise) / d.Lost
	out = append(out, e.temperatureInputs()...)
	return append(out, measured("rounds that agree", d.Rounds, ""), measured("strokes N in them", d.Strokes, ""),
		measured("rise of the tank over them, sum of (p' - p)/p_0", d.Rise, ""),
		computed("rate of the leak", 100*60*rate, "%/min"),
		measured("sum of p_mean t/p_0, with the share of what a standing booster creeps", d.Lost, "s"),
		computed("air that the strokes should deliver, by the assumed efficiency, at 20 °C", d.Plain*1e3, "L ANR"),
		computed("sum of p1 V_b/p_0: swept volume at inlet condition, at 20 °C", d.Swept*1e3, "L ANR"),
		computed("half-width of the band by rounds and leak, without the tank's", 100*d.Band, "%"),
		assumed("half-width of the tank volume's band", 100*station.TankBand, "%", "common practice, no source"))
}

func (e *Engine) learnedTankInputs() []station.Input {
	return append(e.quietInputs(), air.BoostAssumptions()...)
}

func (e *Engine) costInputs() []station.Input {
	a := &e.Air
	out := e.airBy()
	if a.N < 1 {
		return out
	}
	return append(out, measured("strokes that count, the past fading", a.N, ""),
		computed("delivered a stroke m_b, mean", a.Boost, "L ANR"), computed("half-width of its band", a.BoostBand, "L ANR"),
		computed("exhausted a stroke m_d, mean", a.Drive, "L ANR"), computed("half-width of the band of m_d", a.DriveBand, "L ANR"))
}

func (e *Engine) meterInputs() []station.Input {
	m := &e.Meter
	if m.FlowAt == 0 {
		return []station.Input{words("flow meter", "none was lent to the inlet", station.Measured)}
	}
	out := []station.Input{measured("flow meter, last reading", m.Flow*60e3, "L/min ANR"), at("read at", m.FlowAt), measured("windows of a minute or more", float64(m.Windows), "")}
	if m.Windows > 0 {
		out = append(out, at("lent from", m.From), at("to", m.At), measured("metered inlet air in them", m.Metered, "L ANR"),
			computed("inlet air by plate data and recharges in them", m.Computed, "L ANR"))
	}
	return append(out, e.driveBy(), assumed("half-width of the meter's own band", 100*meterOwn, "%", "common practice, no source"),
		assumed("windows before a calibration is used", meterLeast, "", "common practice, no source"))
}

func (e *Engine) deadInputs() []station.Input {
	l := &e.Recharge.Line
	out := []station.Input{plate("tank volume with piping", e.Plate.TankVolume, 1e3, "L"), measured("quiet rounds, the past fading", l.N, "")}
	if l.W <= 0 {
		return out
	}
	mf, me, tank := l.F/l.W, l.E/l.W, e.Plate.TankVolume
	return append(out, computed("mean of x = (p2/p1)^(1/kappa) - 1, weighted", mf, ""),
		computed("mean of eta, weighted", me*tank, ""),
		computed("variance of x", l.FF/l.W-mf*mf, ""), computed("covariance of x and eta", (l.FE/l.W-mf*me)*tank, ""),
		assumed("least variance of x", lineSpan*lineSpan, "", "common practice, no source"))
}
