package engine

import (
	"fmt"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// airNeeds says what would make air known.
const airNeeds = "bores and stroke or swept volumes in the plate data, inlet and outlet pressure, and strokes that are known"

func (e *Engine) explainDelivered() station.Explanation {
	return station.Explanation{Name: "delivered_air", Key: "delivered_air_l", Title: "Delivered air", What: "air that reached the tank",
		Formula: "sum over strokes of k p1 V_b eta/p_0 T_0/T, eta = 1 - c((p2/p1)^(1/kappa) - 1) - l0 - l1/t², k the learned over the assumed efficiency; while p2 <= p1 also V_t dp2/(kappa p_0) T_0/T beyond that, air that goes straight through the check valves",
		Source:  "ideal gas law; re-expansion of the dead volume", Needs: airNeeds, Inputs: e.deliveredInputs()}
}

func (e *Engine) explainExhaust() station.Explanation {
	return station.Explanation{Name: "exhaust_air", Key: "exhaust_air_l", Title: "Exhaust air", What: "air of the drive that left through the exhaust",
		Formula: "sum over strokes of (p_d V_d + (p_d - p_atm) V_dead)/p_0 T_0/T, p_d = p_low + p1 (drag (1 - g) + open g (p1 - p_low)/p1 + restart t²/(t² + t_s²)), " +
			"p_low = p_atm + (p2 - p1)/ratio, g = exp(-n max(0, t/t_f - 1)), t_f = T sqrt(x p1/(p1 - p_low)): p_d is not measured; after a flow meter's calibration the inlet air less the delivered",
		Source: "force balance of the piston; ideal gas law; law of the drive pressure fitted to virtual stations, or to a lent meter", Needs: airNeeds, Inputs: e.exhaustInputs()}
}

func (e *Engine) explainInlet() station.Explanation {
	in := append(e.airBy(), e.strokeNow(func(a *air.StrokeAir) air.Range { return a.Inlet }, "drawn in")...)
	return station.Explanation{Name: "inlet_air", Key: "inlet_air_l", Title: "Inlet air", What: "air drawn from the supply",
		Formula: "delivered air plus exhaust air, see there; after a flow meter's calibration k' p1 V_b eta/p_0 T_0/T, k' being k at that time, plus the drive's air by the meter's law",
		Source:  "conservation of mass", Needs: airNeeds, Inputs: in}
}

// airBy says what the air of strokes goes by at present: plate data, recharges, a meter.
func (e *Engine) airBy() []station.Input {
	out := append(e.boostBy(), e.driveBy())
	if e.Air.Known.Metered {
		out = append(out, computed("k': k at the calibration", e.Air.Known.MeterEta, ""), e.figure("metered over computed inlet air", station.MeterRatio))
	}
	return out
}

// boostBy says what the delivered air of a stroke goes by.
func (e *Engine) boostBy() []station.Input {
	k, d := &e.Air.Known, &e.Basis.Quiet
	if k.Eta <= 0 {
		return []station.Input{words("delivered air of a stroke goes by", "plate data and assumptions alone: no quiet recharges have taught it", station.Computed)}
	}
	return []station.Input{
		words("delivered air of a stroke goes by", fmt.Sprintf("plate data, corrected by %.0f quiet recharges up to %s", d.Rounds, d.At.Floor(station.Second)), station.Computed),
		computed("k: learned over assumed volumetric efficiency", k.Eta, ""),
		computed("half-width of its band", 100*k.EtaBand, "%"),
	}
}

// driveBy says what the exhausted air of a stroke goes by.
func (e *Engine) driveBy() station.Input {
	k, m := &e.Air.Known, &e.Meter
	const name = "exhausted air of a stroke goes by"
	if !k.Metered {
		return words(name, "the usual law of the drive pressure: no flow meter was lent", station.Assumed)
	}
	text := fmt.Sprintf("a flow meter that was lent from %s to %s, %d windows", m.From.Floor(station.Second), m.At.Floor(station.Second), m.Windows)
	if k.Away {
		return words(name, text+"; the station has drifted from that calibration, and the band is wider", station.Computed)
	}
	return words(name, text+"; the station has not drifted from that calibration", station.Computed)
}

// strokeNow gives a part of the air of a stroke at the pressures of the moment and the last
// stroke's pace, with its band.
func (e *Engine) strokeNow(part func(*air.StrokeAir) air.Range, name string) []station.Input {
	out := []station.Input{seen("inlet now", &e.Inlet), seen("outlet now", &e.Outlet)}
	a, reason := e.Air.Known.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs(), e.lastPace())
	if reason != "" || !e.Inlet.Seen || !e.Outlet.Seen {
		return out
	}
	a = a.At(e.airTemperature(), e.metered())
	r := part(&a)
	out = append(out, e.temperatureInputs()...)
	return append(out, computed(name+" a stroke now", r.Value, "L ANR"),
		words("its 90 % band", fmt.Sprintf("%.3f to %.3f L ANR", r.Low, r.High), station.Computed))
}

func (e *Engine) lastPace() air.Pace {
	return air.Pace{Took: e.Air.Took, Mean: e.Air.Mean, Fastest: e.Air.Fastest}
}

func (e *Engine) deliveredInputs() []station.Input {
	out := append(e.boostBy(), plate("swept volume of a boost stroke", e.Plate.SweptBoost, 1e3, "L"), plate("tank volume with piping", e.Plate.TankVolume, 1e3, "L"), e.ambient())
	out = append(out, e.strokeNow(func(a *air.StrokeAir) air.Range { return a.Boost }, "delivered")...)
	if e.Inlet.Seen && e.Outlet.Seen && e.inletAbs() > 0 {
		out = append(out, computed("volumetric efficiency eta now, as assumed", 100*air.VolumetricEfficiency(e.inletAbs(), e.outletAbs(), e.lastPace()), "%"),
			computed("t: time of a stroke, of the last ones, or of full speed where none is known", e.lastPace().Suction(), "s"))
	}
	return append(out, air.BoostAssumptions()...)
}

func (e *Engine) exhaustInputs() []station.Input {
	out := []station.Input{e.driveBy(), plate("swept volume of a drive stroke", e.Plate.SweptDrive, 1e3, "L"), plate("drive over boost piston area", e.Plate.AreaRatio, 1, ""), e.ambient()}
	out = append(out, e.strokeNow(func(a *air.StrokeAir) air.Range { return a.Drive }, "exhausted")...)
	if e.Inlet.Seen && e.Outlet.Seen {
		low, high := air.DriveBounds(&e.Plate, e.inletAbs(), e.outletAbs())
		out = append(out, computed("drive pressure p_d at the end of a stroke, at least (p_low)", float64(low)*1e-3, "kPa abs"),
			computed("at most", float64(high)*1e-3, "kPa abs"))
	}
	out = append(append(out, e.lastPace().PaceInputs()...), e.Air.Known.LawInputs()...)
	return append(out, air.DriveAssumptions()...)
}
