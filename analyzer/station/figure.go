package station

// Figure names one of the slow figures of a station: what is known of it beyond its
// readings of the moment.
type Figure uint8

// The figures. Their order is that in which they are shown.
const (
	LeakFlow Figure = iota
	LeakConductance
	LeakHole
	LeakAtMost
	LeakOnset
	LeakTrend
	InletLeak
	InternalLeak

	SupplySag
	HeaderSag
	LineSag
	HeaderStatic
	SupplyConductance
	PipeConductance
	SupplyChange
	SupplyTrend
	ConductanceNeeded
	BoreNeeded
	ReachablePressure

	VolumetricEfficiency
	EfficiencyChange
	StrokeDelivery
	InletOverDelivered
	MeterRatio
	DeadVolume
	TankVolume

	Load
	HighestRate
	FreeCapacity
	StartsHour
	StartsShort
	StrokeTimeChange
	CyclesSinceOverhaul
	StrokeUnevenness
	Pulsation
	SetPressure
	SetShift
	ReliefPops
	PopPressure
	OutletDraw
	DrawOverUsual
	DrawFloor
	DrawFloorUsual
	StoredEnergy

	InletZero
	OutletZero
	OutletOffset
	InletNoise
	OutletNoise
	CountMismatch
	CountExcess
	NumFigures
)

// Estimates are the slow figures of a station, by Figure.
type Estimates [NumFigures]Estimate

// FigureKind says what a figure is, once for conditions, reports, pages and tables.
type FigureKind struct {
	Name   string  // in conditions, queries and tables: lower case, words joined by _
	Title  string  // for people
	Group  Group   // under which it is shown
	Unit   string  // SI unit of the value
	Shown  string  // unit that people read
	Factor float64 // from Unit to Shown
	Places int     // decimals in which it is shown
	Law    Law     // of a conductance: what the number is
	Air    bool    // a volume of air at ANR: scaled to the reference that is chosen
	Key    string  // in the JSON of a replay: the name and the unit there
	What   string  // what it is, a line
	// Formula and Source say how it is obtained: for the people who argue with it.
	Formula, Source string
}

// Law is what the number of a conductance is.
type Law uint8

// The laws: none for what is no conductance, the sonic conductance C of ISO 6358, and
// C/sqrt(1-b), which is all that a small pressure drop shows of a line.
const (
	NoLaw Law = iota
	SonicC
	OverRoot
)

// Group is a heading under which figures are shown.
type Group uint8

// The groups.
const (
	GroupLeak Group = iota
	GroupSupply
	GroupAir
	GroupWork
	GroupSensors
	NumGroups
)

var groupNames = [NumGroups]string{"Leak", "Supply", "Air per stroke", "Work and outlet", "Sensors"}

// String gives the group's heading.
func (g Group) String() string {
	if g < NumGroups {
		return groupNames[g]
	}
	return ""
}

// Figures says what each figure is.
var Figures = [NumFigures]FigureKind{
	LeakFlow: {Name: "leak_flow", Title: "Leak", Group: GroupLeak, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 1, Air: true, Key: "leak_flow_l_min",
		What:    "steady loss at the outlet at the operating pressure",
		Formula: "decay: (V + V_creep/2) rate p_op/p_0 T_0/T with p = p_end exp(rate t)(1 + theta exp(-t/tau_th)); make-up: strokes in quiet time times the air of a stroke; both weighed by the inverse of their variance",
		Source:  "gas law; ISO 6358 choked flow"},
	LeakConductance: {Name: "leak_conductance", Title: "Leak conductance C", Group: GroupLeak, Unit: "m³/(s·Pa)", Law: SonicC, Shown: "dm³/(s·bar)", Factor: 1e8, Places: 4, Key: "leak_conductance_l_s_bar",
		What: "sonic conductance C of the leak at the outlet; the leak is choked, so that b does not enter", Formula: "decay: C = (V + V_creep/2) rate/p_0 sqrt(T_0/T) (choked); make-up: flow over the absolute pressure meanwhile and sqrt(T_0/T); weighed by the inverse of their variance", Source: "ISO 6358"},
	LeakHole: {Name: "leak_hole", Title: "Leak as a round hole", Group: GroupLeak, Unit: "m", Shown: "mm", Factor: 1e3, Places: 2, Key: "leak_hole_mm",
		What:    "diameter of a round hole that loses as much, discharge coefficient 0.65",
		Formula: "d = sqrt(4 C/(pi C_d C_1)), C_1 of an ideal nozzle of 1 mm², C_d the discharge coefficient of a sharp edge",
		Source:  "ISO 6358; handbook orifice tables"},
	LeakAtMost: {Name: "leak_at_most", Title: "Leak at most", Group: GroupLeak, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 1, Air: true, Key: "leak_at_most_l_min",
		What:    "least that was drawn in a shift in which it was never quiet: an upper bound",
		Formula: "least over 8 h of (delivered air of 5 min, its upper band, and two strokes + V (p_begin - p_end)/p_0 where the outlet fell)/300 s, and of (V + V_creep)/p_0 T_0/T times the outlet's fall while the piston stands, with what noise and air that warms up may hide",
		Source:  "mass and energy balance of the tank"},
	LeakOnset: {Name: "leak_onset", Title: "Leak began", Group: GroupLeak, Unit: "s", Shown: "", Factor: 1, Key: "leak_onset_unix_s",
		What:    "time since which the leak is larger than before, s since 1970",
		Formula: "step or bent line through earlier figures of the conductance by weighted least squares, four standard errors at least",
		Source:  "least squares; the bent line for leaks that grow"},
	LeakTrend: {Name: "leak_trend", Title: "Leak grows by", Group: GroupLeak, Unit: "m³/s²", Shown: "L/min per day", Factor: 60e3 * 86400, Places: 2, Air: true, Key: "leak_trend_l_min_day",
		What:    "robust slope of the leak",
		Formula: "median of the slopes between all pairs of earlier figures, since the onset where there is one, times p_op",
		Source:  "Sen 1968 (from memory)"},
	InletLeak: {Name: "inlet_leak", Title: "Leak of the inlet side, at most", Group: GroupLeak, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 1, Air: true, Key: "inlet_leak_l_min",
		What:    "loss of the inlet side while a valve closes the supply: an upper bound, since the booster bleeds too",
		Formula: "V r p_rest/p_0, r = -d ln p1/dt (not below 0) + 1.645 of its standard error, V = pi/4 d² l of the hose + 2 (V_d + V_b) of the cylinder",
		Source:  "gas law"},
	InternalLeak: {Name: "internal_leak", Title: "Leak inside the booster", Group: GroupLeak, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 1, Air: true, Key: "internal_leak_l_min",
		What:    "make-up strokes in quiet time beyond what the outlet loses by its decay",
		Formula: "flow that the strokes deliver less what the outlet loses: by a standing window within the rounds that make-up counts, or by the falls between recharges",
		Source:  "mass balance"},

	SupplySag: {Name: "supply_sag", Title: "Inlet sag", Group: GroupSupply, Unit: "1", Shown: "% of resting gauge pressure", Factor: 100, Places: 1, Key: "supply_sag_ratio",
		What: "fall of the inlet while stroking over its resting gauge pressure", Formula: "(static - dynamic)/static, gauge, means over stretches of strokes",
		Source: "definition; static and dynamic pressure paired within two minutes"},
	HeaderSag: {Name: "header_sag", Title: "Header sag, part of it", Group: GroupSupply, Unit: "1", Shown: "% of resting gauge pressure", Factor: 100, Places: 1, Key: "header_sag_ratio",
		What:    "fall of the header while stroking over the resting gauge pressure; without a header sensor a lower bound",
		Formula: "header sensor: (static - dynamic)/static, gauge; without: half the difference of the resting inlet within 10 s before and after a run over the former",
		Source:  "definition"},
	LineSag: {Name: "line_sag", Title: "Supply line sag, part of it", Group: GroupSupply, Unit: "1", Shown: "% of resting gauge pressure", Factor: 100, Places: 1, Key: "line_sag_ratio",
		What:    "fall along the supply line while stroking over the resting gauge pressure; without a header sensor an upper bound",
		Formula: "header sensor: (header - inlet)/static while stroking, less what the sensors differ at rest; without: the rest of the sag", Source: "definition"},
	HeaderStatic: {Name: "header_static", Title: "Header at rest", Group: GroupSupply, Unit: "Pa", Shown: "kPa gauge", Factor: 1e-3, Places: 0, Key: "header_static_kpa",
		What:    "pressure before the supply line: measured, or the inlet's while the piston stands, ten minutes old at most",
		Formula: "mean over some seconds of rest", Source: "nothing flows at rest"},
	SupplyConductance: {Name: "supply_conductance", Title: "Supply conductance C/√(1−b)", Group: GroupSupply, Unit: "m³/(s·Pa)", Law: OverRoot, Shown: "dm³/(s·bar)", Factor: 1e8, Places: 2, Key: "supply_conductance_l_s_bar",
		What: "C/sqrt(1-b) of the supply line: at a small sag C and b cannot be told apart", Formula: "inlet air of the running/(integral of p_static psi(p1/p_static) dt sqrt(T_0/T) sqrt(1-b))", Source: "ISO 6358"},
	PipeConductance: {Name: "pipe_conductance", Title: "C/√(1−b) of a straight pipe of this bore", Group: GroupSupply, Unit: "m³/(s·Pa)", Law: OverRoot, Shown: "dm³/(s·bar)", Factor: 1e8, Places: 2, Key: "pipe_conductance_l_s_bar",
		What:    "C/sqrt(1-b) of a smooth pipe of the line's bore and length without fittings, at the pressures seen",
		Formula: "m/(rho_0 p1 psi(p2/p1) sqrt(1-b)), m² = A² (p1² - p2²)/(R T (f L/D + 2 ln(p1/p2))), f by Colebrook", Source: "isothermal pipe flow (Darcy-Weisbach); roughness from memory"},
	SupplyChange: {Name: "supply_change", Title: "Supply conductance C/√(1−b) against usual", Group: GroupSupply, Unit: "1", Shown: "%", Factor: 100, Places: 0, Key: "supply_change_ratio",
		What:    "median of the last runs over the usual value, less one",
		Formula: "medians of fifteen readings; the usual value follows over 30 days", Source: "common practice, no source"},
	SupplyTrend: {Name: "supply_trend", Title: "Supply conductance C/√(1−b) changes by", Group: GroupSupply, Unit: "m³/(s²·Pa)", Law: OverRoot, Shown: "dm³/(s·bar) per day", Factor: 1e8 * 86400, Places: 3, Key: "supply_trend_l_s_bar_day",
		What: "robust slope of C/sqrt(1-b) over the last 16 days of work, known from five on", Formula: "Theil-Sen over daily means", Source: "Sen 1968 (from memory)"},
	ConductanceNeeded: {Name: "conductance_needed", Title: "Supply conductance C/√(1−b) needed", Group: GroupSupply, Unit: "m³/(s·Pa)", Law: OverRoot, Shown: "dm³/(s·bar)", Factor: 1e8, Places: 2, Key: "conductance_needed_l_s_bar",
		What:    "C/sqrt(1-b) of a supply line that would keep the sag under its limit at the flow that the booster draws then",
		Formula: "C k psi(r_now)/psi(r_limit), b = 0.3, k the flow at the limit over the present one (stroke time as for load, air of a stroke); the limit is the plate's, else 10 % (common practice, no source), less the header's own fall", Source: "ISO 6358"},
	BoreNeeded: {Name: "bore_needed", Title: "Supply line bore needed", Group: GroupSupply, Unit: "m", Shown: "mm", Factor: 1e3, Places: 1, Key: "bore_needed_mm",
		What:    "bore of a supply line of the known length that would keep the sag under its limit, only where the line passes what its present bore and length give",
		Formula: "isothermal pipe flow, Colebrook, roughness 1.5 µm (drawn tube or hose), no fittings", Source: "Darcy-Weisbach; roughness from memory"},
	ReachablePressure: {Name: "reachable_pressure", Title: "Highest reachable outlet", Group: GroupSupply, Unit: "Pa", Shown: "kPa gauge", Factor: 1e-3, Places: 0, Key: "reachable_pressure_kpa",
		What:    "highest outlet that the inlet seen while stroking can reach; friction is neglected until a stall below set was seen, the band says by how much",
		Formula: "p2 = p1 (1 + A_d/A_b) - F/A_b, gauge; F/A_b from stalls below set", Source: "force balance of the piston"},

	VolumetricEfficiency: {Name: "volumetric_efficiency", Title: "Volumetric efficiency", Group: GroupAir, Unit: "1", Shown: "%", Factor: 100, Places: 0, Key: "volumetric_efficiency_ratio",
		What:    "air delivered a stroke over the swept volume at inlet condition; without a tank volume in the plate only its changes mean anything",
		Formula: "(V (p'-p) + (V+V_c) rate p_mean t)/(N p1 V_b) over rounds from before one quiet recharge to before the next; V_c: what a standing booster creeps",
		Source:  "gas law; mass balance of the tank"},
	EfficiencyChange: {Name: "efficiency_change", Title: "Volumetric efficiency against usual", Group: GroupAir, Unit: "1", Shown: "%", Factor: 100, Places: 0, Key: "efficiency_change_ratio",
		What:    "delivery of a stroke over what the plate's efficiency gives at the same pressures, against its usual, less one",
		Formula: "medians of fifteen readings three minutes apart; the usual value follows over 30 days", Source: "common practice, no source"},
	StrokeDelivery: {Name: "stroke_delivery", Title: "Air delivered per stroke", Group: GroupAir, Unit: "m³", Shown: "L", Factor: 1e3, Places: 3, Air: true, Key: "stroke_delivery_l",
		What:    "air delivered a stroke, from quiet recharges of the tank",
		Formula: "(V (p'-p) + (V+V_c) rate p_mean t)/(N p_0) T_0/T, rate: the leak's, from the fall of many standing times", Source: "gas law; mass balance of the tank"},
	InletOverDelivered: {Name: "inlet_over_delivered", Title: "Inlet air per delivered air", Group: GroupAir, Unit: "1", Shown: "L/L", Factor: 1, Places: 2, Key: "inlet_over_delivered_ratio",
		What:    "air drawn in for each volume delivered: what boosting costs",
		Formula: "1 + m_d/m_b over the last two hundred strokes; m_d = (p_d V_d + (p_d - p_atm) V_dead)/p_0, p_d between force balance and supply by the pace of the strokes",
		Source:  "force balance of the piston; law of the drive pressure fitted to the virtual stations, or to a lent meter"},
	MeterRatio: {Name: "meter_ratio", Title: "Inlet air, metered against computed", Group: GroupAir, Unit: "1", Shown: "", Factor: 1, Places: 3, Key: "meter_ratio",
		What:    "inlet air by a flow meter over what the plate data give, while one was lent",
		Formula: "sums over windows of a minute or more; band: 2 % of the meter and the strokes cut at the windows' ends", Source: "the meter's own 2 %: common practice, no source"},
	DeadVolume: {Name: "dead_volume", Title: "Dead volume of a boost chamber", Group: GroupAir, Unit: "1", Shown: "% of swept volume", Factor: 100, Places: 0, Key: "dead_volume_ratio",
		What:    "over its swept volume, learned from recharges at different pressure ratios",
		Formula: "c in eta = 1 - c((p2/p1)^(1/kappa) - 1) - loss, least squares weighted by strokes squared", Source: "isentropic re-expansion of the dead volume"},
	TankVolume: {Name: "tank_volume", Title: "Tank volume with piping", Group: GroupAir, Unit: "m³", Shown: "L", Factor: 1e3, Places: 1, Key: "tank_volume_l",
		What:    "learned from counted strokes of quiet recharges",
		Formula: "N p1 V_b eta/((p'-p) + rate p_mean t), eta as assumed", Source: "gas law; mass balance of the tank"},

	Load: {Name: "load", Title: "Load", Group: GroupWork, Unit: "1", Shown: "%", Factor: 100, Places: 0, Key: "load_ratio",
		What:    "stroke rate of the last minute over the highest the station could keep at this inlet and outlet",
		Formula: "rate/(1/(k t)), t = 0.7 + x/psi(x), x = (p_atm + (p2 - p1) A_b/A_d)/p1 + 0.05, k learned from strokes with the outlet below 97 % of set", Source: "ISO 6358 filling of the drive chamber; 0.7 and 0.05 fitted to virtual stations"},
	HighestRate: {Name: "highest_rate", Title: "Highest stroke rate", Group: GroupWork, Unit: "1/s", Shown: "/min", Factor: 60, Places: 0, Key: "highest_rate_min",
		What: "that the station could keep at this inlet and outlet with the governor open", Formula: "1/(k t), see load", Source: "as load"},
	FreeCapacity: {Name: "free_capacity", Title: "Free capacity", Group: GroupWork, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 0, Air: true, Key: "free_capacity_l_min",
		What:    "how much more demand could be met from this header with the outlet at what the branch needs (5 % below set where that is not given)",
		Formula: "n m_b at the inlet p1 at which the line passes n (m_b + m_d), less the present delivery; not below 0", Source: "ISO 6358; stroke time as for load"},
	StartsHour: {Name: "starts_hour", Title: "Starts per hour", Group: GroupWork, Unit: "1", Shown: "/h", Factor: 1, Places: 0, Key: "starts_hour",
		What: "how often the piston began after standing, in the last hour; scaled to one before an hour was watched", Formula: "60 starts/minutes watched; a start is work after standing", Source: "definition"},
	StartsShort: {Name: "starts_10min", Title: "Starts in the last ten minutes", Group: GroupWork, Unit: "1", Shown: "", Factor: 1, Places: 0, Key: "starts_10min",
		What: "how often the piston began after standing, in the last ten minutes", Formula: "starts in them; a start is work after standing", Source: "definition"},
	StrokeTimeChange: {Name: "stroke_time_change", Title: "Stroke time against usual", Group: GroupWork, Unit: "1", Shown: "%", Factor: 100, Places: 0, Key: "stroke_time_change_ratio",
		What:    "how much longer strokes take than usual at equal inlet and outlet, with the governor open",
		Formula: "medians of fifteen readings of time/t, t as for load; the usual value follows over 30 days", Source: "as load"},
	CyclesSinceOverhaul: {Name: "cycles_since_overhaul", Title: "Cycles since the overhaul", Group: GroupWork, Unit: "1", Shown: "", Factor: 1, Places: 0, Key: "cycles_since_overhaul",
		What: "cycles of the booster since its last overhaul, as far as they were watched: from the first sample with its serial number and date of overhaul on", Formula: "strokes/2, whole cycles", Source: "definition"},
	StrokeUnevenness: {Name: "stroke_unevenness", Title: "Stroke unevenness", Group: GroupWork, Unit: "1", Shown: "%", Factor: 100, Places: 1, Key: "stroke_unevenness_ratio",
		What:    "difference of the two sides' stroke times over their mean",
		Formula: "2 |t_a - t_b|/(t_a + t_b), medians of the last 16 stroke times of each side", Source: "definition"},
	Pulsation: {Name: "pulsation", Title: "Pulsation, peak to peak", Group: GroupWork, Unit: "1", Shown: "% of mean outlet", Factor: 100, Places: 2, Key: "pulsation_ratio",
		What:    "peak-to-peak ripple over the mean outlet, gauge",
		Formula: "sqrt(12 (s² - noise²))/mean: s is the scatter about a straight line over two strokes, and a sawtooth of height h scatters by h/sqrt(12)",
		Source:  "variance of a uniform distribution"},
	SetPressure: {Name: "set_pressure", Title: "Set pressure", Group: GroupWork, Unit: "Pa", Shown: "kPa gauge", Factor: 1e-3, Places: 0, Key: "set_pressure_kpa",
		What:    "of the plate, or learned",
		Formula: "of the plate, else the highest outlet at the end of runs, averaged with weight 0.3 for the newest", Source: "definition"},
	SetShift: {Name: "set_shift", Title: "Set pressure has moved by", Group: GroupWork, Unit: "Pa", Shown: "kPa", Factor: 1e-3, Places: 0, Key: "set_shift_kpa",
		What:    "outlet at which the governor ends runs, less the usual one (less the plate's, where the two differ by more than 5 %)",
		Formula: "medians of fifteen runs; the usual value follows over 30 days", Source: "common practice, no source"},
	ReliefPops: {Name: "relief_pops", Title: "Falls as of a relief valve, in ten minutes", Group: GroupWork, Unit: "1", Shown: "", Factor: 1, Places: 0, Key: "relief_pops_10min",
		What:    "how often the outlet fell from one pressure in the last ten minutes, while strokes went on; 0 where consumers or the governor explain it",
		Formula: "falls of 2 % and more, of the air of four strokes and more, in which the piston did not stop, that begin within 1 % of the highest one (within 2 s where no relief pressure is given); none below five, at set, above which more was read, or where falls at random explain it (binomial tail above 1/10,000)", Source: "mass balance of the tank; binomial distribution"},
	PopPressure: {Name: "pop_pressure", Title: "Pressure of these falls", Group: GroupWork, Unit: "Pa", Shown: "kPa gauge", Factor: 1e-3, Places: 0, Key: "pop_pressure_kpa",
		What: "highest outlet at which these falls begin: where a relief valve pops", Formula: "see the number of these falls", Source: "definition"},
	OutletDraw: {Name: "outlet_draw", Title: "Air that leaves the outlet", Group: GroupWork, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 0, Air: true, Key: "outlet_draw_l_min",
		What:    "what consumers and leaks take, over the last five seconds",
		Formula: "(air of the strokes + V (p_begin - p_end)/p_0 T_0/T)/t", Source: "mass balance of the tank"},
	DrawOverUsual: {Name: "draw_over_usual", Title: "Draw against the highest usual one", Group: GroupWork, Unit: "1", Shown: "times", Factor: 1, Places: 2, Key: "draw_over_usual_ratio",
		What:    "air that leaves the outlet over its absolute pressure, against the most that this station's own use has shown",
		Formula: "draw/p over its highest of two weeks, learned while the outlet keeps what the branch needs or recovers to it; without tank volume or the air of a stroke the fall of ln p", Source: "ISO 6358 choked flow; mass balance of the tank"},
	DrawFloor: {Name: "draw_floor", Title: "Steady draw", Group: GroupLeak, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 0, Air: true, Key: "draw_floor_l_min",
		What:    "least that left the outlet in any five seconds of the last ten minutes: a leak, or consumers that never pause",
		Formula: "least of the air that leaves the outlet, not below 0", Source: "mass balance of the tank"},
	DrawFloorUsual: {Name: "draw_floor_usual", Title: "Steady draw, usual", Group: GroupLeak, Unit: "m³/s", Shown: "L/min", Factor: 60e3, Places: 0, Air: true, Key: "draw_floor_usual_l_min",
		What:    "highest steady draw that is usual at this station",
		Formula: "highest steady draw of two weeks, fading, without the last half day to a day", Source: "own choice"},
	StoredEnergy: {Name: "stored_energy", Title: "Energy stored in the tank", Group: GroupWork, Unit: "J", Shown: "kJ", Factor: 1e-3, Places: 1, Key: "stored_energy_j",
		What:    "of the tank's air, isentropic expansion to ambient",
		Formula: "p V/(kappa-1) (1 - (p_amb/p)^((kappa-1)/kappa)), absolute", Source: "isentropic expansion; Brode's convention is higher"},

	InletZero: {Name: "inlet_zero", Title: "Inlet sensor zero", Group: GroupSensors, Unit: "Pa", Shown: "kPa gauge", Factor: 1e-3, Places: 1, Key: "inlet_zero_kpa",
		What:    "what the inlet sensor reads while both sides are vented",
		Formula: "mean of a minute at rest within 60 kPa of atmosphere, the supply closed; corrects nothing", Source: "common practice, no source"},
	OutletZero: {Name: "outlet_zero", Title: "Outlet sensor zero", Group: GroupSensors, Unit: "Pa", Shown: "kPa gauge", Factor: 1e-3, Places: 1, Key: "outlet_zero_kpa",
		What:    "what the outlet sensor reads while both sides are vented",
		Formula: "mean of a minute at rest within 60 kPa of atmosphere, the supply closed; corrects nothing", Source: "common practice, no source"},
	OutletOffset: {Name: "outlet_offset", Title: "Outlet sensor reads too high by at most", Group: GroupSensors, Unit: "Pa", Shown: "kPa", Factor: 1e-3, Places: 1, Key: "outlet_offset_kpa",
		What:    "bounds of the outlet sensor's offset against the inlet's, from fed moments without strokes; the value is the upper bound",
		Formula: "least r2 - r1 + 2 p_crack; greatest r2 - r1 (1 + A_d/A_b)", Source: "check valves; force balance of the piston; p_crack 5 kPa, common practice, no source"},
	InletNoise: {Name: "inlet_noise", Title: "Inlet sensor noise", Group: GroupSensors, Unit: "Pa", Shown: "kPa rms", Factor: 1e-3, Places: 2, Key: "inlet_noise_kpa",
		What: "of a sample, while the piston stands", Formula: "mean |second difference|/(sqrt(6) sqrt(2/pi))", Source: "white noise"},
	OutletNoise: {Name: "outlet_noise", Title: "Outlet sensor noise", Group: GroupSensors, Unit: "Pa", Shown: "kPa rms", Factor: 1e-3, Places: 2, Key: "outlet_noise_kpa",
		What: "of a sample, while the piston stands", Formula: "mean |second difference|/(sqrt(6) sqrt(2/pi))", Source: "white noise"},
	CountMismatch: {Name: "count_mismatch", Title: "Strokes in the traces against the counter", Group: GroupSensors, Unit: "1", Shown: "%", Factor: 100, Places: 1, Key: "count_mismatch_ratio",
		What:    "strokes that were made over those that were counted, less one",
		Formula: "200 counts: sum of draws from count to count, in whole multiples of their median, over those counted, less 1; seen/counted - 1 over 200 strokes whose ends the traces show well, in runs of 8 and more; tank: measured over assumed efficiency of quiet recharges, less its band, less 1, as a bound; where a tenth and more of the increments comes faster than the piston can move, less their share of all",
		Source:  "definition; mass balance of the tank"},
	CountExcess: {Name: "count_excess", Title: "Counted rate above the plate's", Group: GroupSensors, Unit: "1", Shown: "%", Factor: 100, Places: 0, Key: "count_excess_ratio",
		What:    "by how much the counter counts steadily faster than the plate's highest stroke rate and half of it more, in the last hour; 0 where it does not",
		Formula: "highest rate over 5 s, of those that stayed above the limit for 20 s without counts closer together than a quarter of its interval, over the limit, less one", Source: "own choice, no source"},
}

// FigureOf gives the figure of a name.
func FigureOf(name string) (Figure, bool) {
	for i := range Figures {
		if Figures[i].Name == name {
			return Figure(i), true
		}
	}
	return 0, false
}
