package prometheus

import (
	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// slow are the slow figures of a station: what an operator charts. Bounds are left out.
var slow = [...]struct {
	figure  station.Figure
	more    string // further label: the reference of air, or the basis of a pressure
	present bool   // of the moment: left out when the station is silent
	family  *family
}{
	{station.LeakConductance, "", false,
		gauge("leak_conductance_cubic_meters_per_second_pascal", "Sonic conductance C of the leak at the outlet (ISO 6358), at ANR; the leak is choked, b does not enter.", perStation()...)},
	{station.InternalLeak, "reference", false,
		gauge("internal_leak_cubic_meters_per_second", "Air that the strokes deliver in quiet time beyond what the outlet loses, at the reference condition.", perStation("reference")...)},
	{station.SupplySag, "", false,
		gauge("supply_sag_ratio", "Fall of the inlet's gauge pressure while stroking, over its resting pressure.", perStation()...)},
	{station.HeaderSag, "", false,
		gauge("header_sag_ratio", "Fall of the header while stroking, over the resting gauge pressure; without a header sensor a lower bound.", perStation()...)},
	{station.LineSag, "", false,
		gauge("line_sag_ratio", "Fall along the supply line while stroking, over the resting gauge pressure; without a header sensor an upper bound.", perStation()...)},
	{station.HeaderStatic, "basis", true,
		gauge("header_static_pascals", "Pressure before the supply line: measured, or the inlet's while the piston stands; no series while the station is silent.", perStation("basis")...)},
	{station.SupplyConductance, "", false,
		gauge("supply_conductance_cubic_meters_per_second_pascal", "C/sqrt(1-b) of the supply line, C its sonic conductance and b its critical pressure ratio (ISO 6358), at ANR.", perStation()...)},
	{station.SupplyChange, "", false,
		gauge("supply_change_ratio", "C/sqrt(1-b) of the supply line over its usual value, less one.", perStation()...)},
	{station.EfficiencyChange, "", false,
		gauge("volumetric_efficiency_change_ratio", "Volumetric efficiency against its usual value, less one.", perStation()...)},
	{station.ReachablePressure, "basis", true,
		gauge("reachable_pressure_pascals", "Highest outlet within reach of the inlet seen while stroking; no series while the station is silent.", perStation("basis")...)},
	{station.VolumetricEfficiency, "", false,
		gauge("volumetric_efficiency_ratio", "Air delivered a stroke over the swept volume at inlet condition.", perStation()...)},
	{station.InletOverDelivered, "", false,
		gauge("inlet_over_delivered_ratio", "Air drawn in over air delivered, the last two hundred strokes or so.", perStation()...)},
	{station.MeterRatio, "", false,
		gauge("meter_ratio", "Inlet air by a flow meter that was lent over what plate data and recharges give.", perStation()...)},
	{station.TankVolume, "", false,
		gauge("tank_volume_cubic_meters", "Volume of the tank with piping, learned from counted strokes.", perStation()...)},
	{station.Load, "", true,
		gauge("load_ratio", "Stroke rate of the last minute over the highest that the station could keep; no series while the station is silent.", perStation()...)},
	{station.FreeCapacity, "reference", true,
		gauge("free_capacity_cubic_meters_per_second", "How much more could be delivered, at the reference condition; no series while the station is silent.", perStation("reference")...)},
	{station.StartsHour, "", true,
		gauge("starts_last_hour", "How often the piston began to work after standing, scaled to one hour before one was watched; no series while the station is silent.", perStation()...)},
	{station.StrokeTimeChange, "", false,
		gauge("stroke_time_change_ratio", "Time of strokes over its usual value at equal pressures, less one.", perStation()...)},
	{station.CyclesSinceOverhaul, "", false,
		gauge("cycles_since_overhaul", "Cycles of the booster since its overhaul, as far as they were watched.", perStation()...)},
	{station.StrokeUnevenness, "", false,
		gauge("stroke_unevenness_ratio", "Difference of the two sides' times of stroke over their mean.", perStation()...)},
	{station.Pulsation, "", false,
		gauge("pulsation_ratio", "Ripple of the outlet, peak to peak over its mean, gauge.", perStation()...)},
	{station.SetShift, "", false,
		gauge("set_shift_pascals", "Outlet at which the governor ends runs less the usual one.", perStation()...)},
	{station.StoredEnergy, "", true,
		gauge("stored_energy_joules", "Energy of the air in the tank, isentropic expansion to ambient; no series while the station is silent.", perStation()...)},
	{station.InletZero, "", false,
		gauge("inlet_zero_pascals", "What the inlet sensor last read, gauge, while both sides were vented.", perStation()...)},
	{station.OutletZero, "", false,
		gauge("outlet_zero_pascals", "What the outlet sensor last read, gauge, while both sides were vented.", perStation()...)},
	{station.InletNoise, "", false,
		gauge("inlet_noise_pascals", "Noise of a sample of the inlet, root mean square, while the piston stands.", perStation()...)},
	{station.OutletNoise, "", false,
		gauge("outlet_noise_pascals", "Noise of a sample of the outlet, root mean square, while the piston stands.", perStation()...)},
	{station.CountMismatch, "", false,
		gauge("count_mismatch_ratio", "Strokes that the traces show over those counted, less one.", perStation()...)},
}

// estimates sends the slow figures. What follows the present readings is left out when those
// are out of date.
func estimates(st *board.Station, ref station.Reference, put put, with with) {
	e := &st.Status.Estimates
	if exact(&e[station.LeakFlow]) {
		with(leakFlow, e[station.LeakFlow].Value*ref.PerANR(), ref.String())
	}
	for i := range slow {
		k := &slow[i]
		v := &e[k.figure]
		if !exact(v) || k.present && st.Stale() {
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
