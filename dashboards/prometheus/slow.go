package prometheus

import (
	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// slow are the slow figures of a station: what an operator charts. Bounds are left out, and all of them while
// the station is silent.
var slow = [...]struct {
	figure station.Figure
	more   string // further label: the reference of air, or the basis of a pressure
	family *family
}{
	{station.LeakConductance, "",
		gauge("leak_conductance_cubic_meters_per_second_pascal", "Sonic conductance C of the leak at the outlet (ISO 6358), at ANR; the leak is choked, b does not enter.", perStation()...)},
	{station.InternalLeak, "reference",
		gauge("internal_leak_cubic_meters_per_second", "Air that the strokes deliver in quiet time beyond what the outlet loses, at the reference condition.", perStation("reference")...)},
	{station.SupplySag, "",
		gauge("supply_sag_ratio", "Fall of the inlet's gauge pressure while stroking, over its resting pressure.", perStation()...)},
	{station.HeaderSag, "",
		gauge("header_sag_ratio", "Fall of the header while stroking, over the resting gauge pressure; without a header sensor a lower bound.", perStation()...)},
	{station.LineSag, "",
		gauge("line_sag_ratio", "Fall along the supply line while stroking, over the resting gauge pressure; without a header sensor an upper bound.", perStation()...)},
	{station.HeaderStatic, "basis",
		gauge("header_static_pascals", "Pressure before the supply line: measured, or the inlet's while the piston stands.", perStation("basis")...)},
	{station.SupplyConductance, "",
		gauge("supply_conductance_cubic_meters_per_second_pascal", "C/sqrt(1-b) of the supply line, C its sonic conductance and b its critical pressure ratio (ISO 6358), at ANR.", perStation()...)},
	{station.SupplyChange, "",
		gauge("supply_change_ratio", "C/sqrt(1-b) of the supply line over its usual value, less one.", perStation()...)},
	{station.EfficiencyChange, "",
		gauge("volumetric_efficiency_change_ratio", "Volumetric efficiency against its usual value, less one.", perStation()...)},
	{station.ReachablePressure, "basis",
		gauge("reachable_pressure_pascals", "Highest outlet within reach of the inlet seen while stroking.", perStation("basis")...)},
	{station.VolumetricEfficiency, "",
		gauge("volumetric_efficiency_ratio", "Air delivered a stroke over the swept volume at inlet condition.", perStation()...)},
	{station.InletOverDelivered, "",
		gauge("inlet_over_delivered_ratio", "Air drawn in over air delivered, the last two hundred strokes or so.", perStation()...)},
	{station.MeterRatio, "",
		gauge("meter_ratio", "Inlet air by a flow meter that was lent over what plate data and recharges give.", perStation()...)},
	{station.TankVolume, "",
		gauge("tank_volume_cubic_meters", "Volume of the tank with piping, learned from counted strokes.", perStation()...)},
	{station.Load, "",
		gauge("load_ratio", "Stroke rate of the last minute over the highest that the station could keep.", perStation()...)},
	{station.FreeCapacity, "reference",
		gauge("free_capacity_cubic_meters_per_second", "How much more could be delivered, at the reference condition.", perStation("reference")...)},
	{station.StartsHour, "",
		gauge("starts_last_hour", "How often the piston began to work after standing, scaled to one hour before one was watched.", perStation()...)},
	{station.StrokeTimeChange, "",
		gauge("stroke_time_change_ratio", "Time of strokes over its usual value at equal pressures, less one.", perStation()...)},
	{station.CyclesSinceOverhaul, "",
		gauge("cycles_since_overhaul", "Cycles of the booster since its overhaul, as far as they were watched.", perStation()...)},
	{station.StrokeUnevenness, "",
		gauge("stroke_unevenness_ratio", "Difference of the two sides' times of stroke over their mean.", perStation()...)},
	{station.Pulsation, "",
		gauge("pulsation_ratio", "Ripple of the outlet, peak to peak over its mean, gauge.", perStation()...)},
	{station.SetShift, "",
		gauge("set_shift_pascals", "Outlet at which the governor ends runs less the usual one.", perStation()...)},
	{station.StoredEnergy, "",
		gauge("stored_energy_joules", "Energy of the air in the tank, isentropic expansion to ambient.", perStation()...)},
	{station.InletZero, "",
		gauge("inlet_zero_pascals", "What the inlet sensor last read, gauge, while both sides were vented.", perStation()...)},
	{station.OutletZero, "",
		gauge("outlet_zero_pascals", "What the outlet sensor last read, gauge, while both sides were vented.", perStation()...)},
	{station.InletNoise, "",
		gauge("inlet_noise_pascals", "Noise of a sample of the inlet, root mean square, while the piston stands.", perStation()...)},
	{station.OutletNoise, "",
		gauge("outlet_noise_pascals", "Noise of a sample of the outlet, root mean square, while the piston stands.", perStation()...)},
	{station.CountMismatch, "",
		gauge("count_mismatch_ratio", "Strokes that the traces show over those counted, less one.", perStation()...)},
}

// estimates sends the slow figures; nothing while the status is out of date.
func estimates(st *board.Station, ref station.Reference, put put, with with) {
	if st.Stale() {
		return
	}
	e := &st.Status.Estimates
	if leak := &e[station.LeakFlow]; exact(leak) {
		with(leakFlow, leak.Value*ref.PerANR(), ref.String())
		if leak.Low != 0 || leak.High != 0 {
			with(leakFlowLow, leak.Low*ref.PerANR(), ref.String())
			with(leakFlowHigh, leak.High*ref.PerANR(), ref.String())
		}
	}
	for i := range slow {
		k := &slow[i]
		v := &e[k.figure]
		if !exact(v) {
			continue
		}
		switch k.more {
		case "reference":
			with(k.family, v.Value*ref.PerANR(), ref.String())
		case "basis":
			with(k.family, v.Value, "gauge")
		default:
			put(k.family, v.Value)
		}
	}
}

// exact tells whether the estimate has a value that is more than a bound.
func exact(e *station.Estimate) bool { return e.Known() && e.Method != station.MethodBound }
