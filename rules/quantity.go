package rules

import (
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// quantity is something that conditions can name. Values are SI; a truth is 1 or 0.
type quantity struct {
	Name string
	Unit string // dimension that arithmetic is checked with; "truth" for yes or no, "1" for plain numbers
	Show string // unit in evidence
	What string
}

// The quantities, in the order of quantities.
const (
	qInlet = iota
	qOutlet
	qLastSeen
	qInletTop
	qSpan
	qStrokeRate
	qStrokesMinute
	qStarts
	qDuty
	qStateSeconds
	qShutSeconds
	qSag
	qSagConfidence
	qSagLimit
	qConductance
	qLeak
	qLeakConfidence
	qLeakLimit
	qVolumetric
	qUneven
	qPulsation
	qSet
	qEnergy
	qStall
	qRelief
	qReliefLimit
	qTankPS
	qHose
	qPressureLimit
	qOutletMean
	qSetSeconds
	qGain
	qAtRelief
	qLeakUse
	qLeakCost
	qInletLeakCost
	qHourStrokes
	qHourUsual
	qHourLimit
	qHourDays
	qRateStepped
	qExtraDraw
	qExtraCost
	qRequired
	qNeeded
	qLeast
	qReached
	qNearSet
	qUnclear
	qUsualInlet
	qHeaderNeeded
	qRestriction
	qRatio
	qInspectionDays
	qInspectionRemind
	qInspectionDone
	qChargedMin
	qShut
	qReturned
	qInletReturned
	qInletBack
	qOutletBack
	qPuff
	qFed
	qHeaderLow
	qFrozen
	qImplausible
	qContradicted
	qBlind
	qOff
	qCharging
	qStroking
	qHolding
	qStarved
	qVenting
	qResidual
	numOwn        // quantities before those that figures bring along
	numQuantities = numOwn + 2*int(station.NumFigures)
)

// quantities are all that conditions can name: those below, and each figure of a station
// that is not among them, with its confidence.
var quantities, figureQuantity = allQuantities()

// allQuantities also gives the index of each figure's quantity; its confidence follows it. 0:
// the figure has a quantity of its own below.
func allQuantities() (all []quantity, of [station.NumFigures]int) {
	all = append(all, ownQuantities[:]...)
	for f := range station.Figures {
		k := &station.Figures[f]
		if slices.ContainsFunc(all, func(q quantity) bool { return q.Name == k.Name || figureAlias[q.Name] == k.Name }) {
			continue
		}
		of[f] = len(all)
		show := k.Unit
		switch {
		case k.Air:
			show += " ANR"
		case k.Unit == "Pa" && strings.HasSuffix(k.Shown, " gauge"):
			show += " gauge"
		}
		all = append(all, quantity{k.Name, k.Unit, show, k.What}, quantity{k.Name + "_confidence", "1", "1", "0 to 1"})
	}
	return all, of
}

// figureAlias are names of own quantities that differ from their figure's.
var figureAlias = map[string]string{"supply_conductance_over_sqrt_1_minus_b": "supply_conductance", "stored_energy_isentropic": "stored_energy"}

var ownQuantities = [numOwn]quantity{
	qInlet:            {"inlet_pressure", "Pa", "Pa gauge", "at the inlet, gauge, mean of the last half second"},
	qOutlet:           {"outlet_pressure", "Pa", "Pa gauge", "at the outlet, gauge, mean of the last half second"},
	qLastSeen:         {"outlet_pressure_last_seen", "Pa", "Pa gauge", "last reading of the outlet that was believed and is not doubted now, gauge"},
	qInletTop:         {"inlet_top", "Pa", "Pa gauge", "highest inlet of the last ten minutes while fed, gauge"},
	qSpan:             {"outlet_span", "Pa", "Pa", "highest less lowest outlet of the last 60 s, known after 60 s of readings"},
	qStrokeRate:       {"stroke_rate", "1/s", "1/s", "strokes over the last minute"},
	qStrokesMinute:    {"strokes_minute", "1", "1", "strokes in the last minute, known where the rate is"},
	qStarts:           {"starts_10min", "1", "1", "how often the piston began after standing, in ten minutes"},
	qDuty:             {"duty_hour", "1", "1", "share of the fed time of the last hour in which the piston worked, known from 30 min of it"},
	qStateSeconds:     {"state_seconds", "s", "s", "time in the present state, through interruptions of 5 s by other states of a fed station; unknown while blind"},
	qShutSeconds:      {"shutdown_seconds", "s", "s", "time since the supply was closed, unknown while it is open"},
	qSag:              {"supply_sag", "1", "1", "fall of the inlet while stroking over its resting gauge pressure"},
	qSagConfidence:    {"supply_sag_confidence", "1", "1", "0 to 1"},
	qSagLimit:         {"sag_limit", "1", "1", "of the plate, else 0.10 (common practice, no source)"},
	qConductance:      {"supply_conductance_over_sqrt_1_minus_b", "m³/(s·Pa)", "m³/(s·Pa)", "C/sqrt(1-b) of the supply line"},
	qLeak:             {"leak_flow", "m³/s", "m³/s ANR", "steady loss at the outlet"},
	qLeakConfidence:   {"leak_flow_confidence", "1", "1", "0 to 1"},
	qLeakLimit:        {"leak_limit", "m³/s", "m³/s ANR", "of the plate, else 15 L/min (common practice, no source)"},
	qVolumetric:       {"volumetric_efficiency", "1", "1", "air per stroke over what the geometry gives"},
	qUneven:           {"stroke_unevenness", "1", "1", "difference of the two sides' stroke times over their mean"},
	qPulsation:        {"pulsation", "1", "1", "peak-to-peak ripple over the mean outlet"},
	qSet:              {"set_pressure", "Pa", "Pa gauge", "of the plate, or learned"},
	qEnergy:           {"stored_energy_isentropic", "J", "J", "of the tank's air, isentropic expansion to ambient"},
	qStall:            {"stall_pressure", "Pa", "Pa gauge", "inlet_top (1 + area_ratio), friction neglected"},
	qRelief:           {"relief_pressure", "Pa", "Pa gauge", "of the plate"},
	qReliefLimit:      {"relief_limit", "Pa", "Pa gauge", "relief_pressure, infinite where it is not given"},
	qTankPS:           {"tank_ps", "Pa", "Pa gauge", "of the tank's name plate"},
	qHose:             {"hose_limit", "Pa", "Pa gauge", "of the plate"},
	qPressureLimit:    {"pressure_limit", "Pa", "Pa gauge", "least of tank_ps, hose_limit and relief_pressure with the 10 % that a valve may take to open fully"},
	qOutletMean:       {"outlet_mean", "Pa", "Pa gauge", "mean outlet of the last ten minutes while fed, known from five of them"},
	qSetSeconds:       {"set_seconds", "s", "s", "for how long set_pressure has been known and the same within 2 %"},
	qGain:             {"outlet_gain", "1", "1", "rise of the absolute outlet since it is above what the forces allow, 0 below"},
	qAtRelief:         {"at_relief_seconds", "s", "s", "for how long the outlet has stayed between 0.97 and 1.1 relief_limit, outlet_span below 0.02 relief_limit, with two strokes_minute and more; 0: it does not"},
	qLeakUse:          {"leak_is_use", "truth", "", "a draw that looked like a leak has ended by itself within two weeks, and the present one is no more than a quarter larger and has lasted no more than half as long again: a consumer that draws evenly"},
	qLeakCost:         {"leak_cost_year", "1", "", "what leak_flow and its drive air cost in 8,760 h, in the currency of the site's price"},
	qInletLeakCost:    {"inlet_leak_cost_year", "1", "", "what inlet_leak costs in 8,760 h, in the currency of the site's price"},
	qHourStrokes:      {"hour_strokes", "1", "1", "strokes in the newest hour of the site's clock that was compared with like days: fed for three quarters of it at least, without a low header"},
	qHourUsual:        {"hour_strokes_usual", "1", "1", "mean of the same hour on like days: those on which a shift runs then, or those on which none runs; without a calendar, Monday to Friday, or the weekend"},
	qHourLimit:        {"hour_strokes_limit", "1", "1", "what that hour exceeds by chance once in a year of hours (Student's t), and the usual with leak_limit on top, whichever is more"},
	qHourDays:         {"hour_days", "1", "1", "like days that it was compared with, 15 at most"},
	qRateStepped:      {"rate_stepped", "truth", "", "hour_strokes was above hour_strokes_limit, and has not been nearer to the usual than to that step in two hours in a row"},
	qExtraDraw:        {"extra_draw", "m³/s", "m³/s ANR", "air of the strokes by which that hour was above its usual"},
	qExtraCost:        {"extra_cost_year", "1", "", "what extra_draw and its drive air cost in 8,760 h, in the currency of the site's price"},
	qRequired:         {"required_pressure", "Pa", "Pa gauge", "what the branch needs, of the plate"},
	qNeeded:           {"needed_pressure", "Pa", "Pa gauge", "required_pressure, else 95 % of set_pressure"},
	qLeast:            {"least_pressure", "Pa", "Pa gauge", "required_pressure, else 85 % of set_pressure once the outlet has been at set (own choice)"},
	qReached:          {"reached_set", "truth", "", "the outlet has been at 95 % of set since the station was last shut down"},
	qNearSet:          {"near_set", "truth", "", "the outlet is at 95 % of set or above, or at 85 % and more than a tenth below reachable_pressure: the governor may not have opened yet; no where it is not known"},
	qUnclear:          {"supply_unclear", "truth", "", "the inlet alone shows that the supply is closed, but its fall without a stroke has stopped above half of its usual level: the header may be low instead"},
	qUsualInlet:       {"usual_inlet", "Pa", "Pa gauge", "highest inlet of ten minutes while fed, before the present fall"},
	qHeaderNeeded:     {"header_needed", "Pa", "Pa gauge", "needed_pressure over one plus the area ratio, and a tenth more for friction and flow (no source), none where the set pressure is learned, since it was reached with both"},
	qRestriction:      {"supply_restriction", "1", "1", "share of the supply's C/sqrt(1-b) that is lost against bore and length, or against its usual value, whichever is more"},
	qRatio:            {"area_ratio", "1", "1", "drive over boost piston area"},
	qInspectionDays:   {"inspection_days", "1", "d", "days until the tank's next inspection, negative: overdue"},
	qInspectionRemind: {"inspection_remind", "1", "d", "days ahead of it that the plate wants a reminder, else 30"},
	qInspectionDone:   {"inspection_done", "truth", "", "the tank was inspected by a person's record, and no later date is known"},
	qChargedMin:       {"charged_min", "Pa", "Pa gauge", "above it a line is not vented: 20 kPa"},
	qShut:             {"shut_down", "truth", "", "the supply was told closed, or the shift is over by the calendar"},
	qReturned:         {"was_vented", "truth", "", "a person said that the line is vented, and nobody has acknowledged since that pressure returned; or a live sensor saw the outlet fall to vented since the shutdown, until the station is fed within a shift"},
	qInletReturned:    {"inlet_was_vented", "truth", "", "likewise of the inlet"},
	qInletBack:        {"inlet_back", "Pa", "Pa gauge", "the inlet; where it is not believed, what its sensor reads above its reading when a person said that the line is vented"},
	qOutletBack:       {"outlet_back", "Pa", "Pa gauge", "likewise the outlet"},
	qPuff:             {"vent_moves_piston", "truth", "", "the outlet is being vented and is still above the inlet: the piston moves and pushes some air back into the line"},
	qFed:              {"fed", "truth", "", "charging, stroking, holding or starved"},
	qHeaderLow:        {"header_low", "truth", "", "the header at rest is below header_needed"},
	qFrozen:           {"sensor_frozen", "truth", "", "blind because a reading stands still"},
	qImplausible:      {"sensor_implausible", "truth", "", "blind because readings contradict each other"},
	qContradicted:     {"plate_contradicted", "truth", "", "plate data, counter and readings cannot all be right"},
	qBlind:            {"blind", "truth", "", "the sensors cannot be relied on"},
	qOff:              {"off", "truth", "", "state, unknown while blind"},
	qCharging:         {"charging", "truth", "", "state, unknown while blind"},
	qStroking:         {"stroking", "truth", "", "state, unknown while blind"},
	qHolding:          {"holding", "truth", "", "state, unknown while blind"},
	qStarved:          {"starved", "truth", "", "state, unknown while blind"},
	qVenting:          {"venting", "truth", "", "state, unknown while blind"},
	qResidual:         {"residual", "truth", "", "state, unknown while blind"},
}

// units are the constants with which conditions write figures: `20 * kPa`.
var units = []struct {
	Name  string
	Unit  string
	Value float64
}{
	{"Pa", "Pa", 1}, {"kPa", "Pa", 1e3}, {"L_min", "m³/s", 1e-3 / 60}, {"mm", "m", 1e-3},
	{"seconds", "s", 1}, {"minutes", "s", 60}, {"hours", "s", 3600}, {"percent", "1", 0.01},
}

// texts are facts in words that messages and evidence can name.
var texts = []string{"state", "state_reason", "leak_method", "leak_onset", "leak_place", "shutdown_by", "vented_by", "pressure_limit_of", "relief_seen", "leak_cost", "beyond_base", "inlet_leak_cost",
	"count_compared", "delivery_changed", "set_moved", "inspection_left", "contradiction", "step_since", "step_draw", "step_cost"}

func quantityOf(name string) (int, bool) {
	for i := range quantities {
		if quantities[i].Name == name {
			return i, true
		}
	}
	return 0, false
}

// nearest gives the name that differs least from what was written, "" if none is near.
func nearest(name string, among []string) string {
	best, at := 1+max(2, len(name)/3), ""
	for _, n := range among {
		if d := distance(strings.ToLower(name), strings.ToLower(n)); d < best {
			best, at = d, n
		}
	}
	return at
}

// distance is the number of letters to insert, delete or replace.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		last := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			last, row[j+1] = row[j+1], min(last+cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
