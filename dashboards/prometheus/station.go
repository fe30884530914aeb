package prometheus

import (
	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// perStation gives the labels of a family that has one series a station and value of
// the further labels.
func perStation(more ...string) []string {
	return append([]string{"site", "branch", "station"}, more...)
}

// Families of a station. Gauges have no series while the station is silent, or not watched, but those that say so; totals stand.
var (
	info   = gauge("station_info", "What is known of a station from its configuration; always 1.", perStation("header", "cadence")...)
	newest = gauge("last_sample_timestamp_seconds", "When the newest samples of the station arrived, in Unix time.", perStation()...)

	strokes = counter("strokes_total", "Strokes of the booster, committed.", perStation()...)
	rate    = gauge("stroke_rate_hertz", "Strokes a second over the last minute.", perStation()...)
	duty    = gauge("duty_ratio", "Share of fed time in which the piston worked since the site's midnight.", perStation()...)

	stateSeconds = counter("state_seconds_total", "Time spent in each state, committed.", perStation("state")...)
	stateActive  = gauge("state_active", "1 for the state the station is in.", perStation("state")...)

	inletAir     = counter("inlet_air_cubic_meters_total", "Air drawn at the inlet, at the reference condition, committed.", perStation("reference")...)
	exhaustAir   = counter("exhaust_air_cubic_meters_total", "Drive air exhausted, at the reference condition, committed.", perStation("reference")...)
	deliveredAir = counter("delivered_air_cubic_meters_total", "Air delivered at the outlet, at the reference condition, committed.", perStation("reference")...)

	leakAir   = counter("leak_air_cubic_meters_total", "Air lost at the outlet in the minutes in which the leak is known, at the reference condition, committed since the program's start.", perStation("reference")...)
	leakKnown = counter("leak_known_seconds_total", "Time in which the leak is known, committed since the program's start.", perStation()...)

	airEnergy = counter("air_energy_joules_total", "Energy that compressing the drawn air took, minute by minute at the site's specific energy of that time, committed.", perStation()...)
	airCost   = counter("air_cost_total", "What that energy cost, minute by minute at the tariff in force then, committed.", perStation("currency")...)
	airCarbon = counter("air_carbon_dioxide_grams_total", "Carbon dioxide of that energy, minute by minute at the emission in force then, committed.", perStation()...)

	leakFlow     = gauge("leak_flow_cubic_meters_per_second", "Air lost at the outlet at the operating pressure, at the reference condition.", perStation("reference")...)
	leakFlowLow  = gauge("leak_flow_low_cubic_meters_per_second", "Lower end of the 90 % band of the leak.", perStation("reference")...)
	leakFlowHigh = gauge("leak_flow_high_cubic_meters_per_second", "Upper end of the 90 % band of the leak.", perStation("reference")...)
	inlet        = gauge("inlet_pressure_pascals", "Pressure at the inlet.", perStation("basis")...)
	outlet       = gauge("outlet_pressure_pascals", "Pressure at the outlet. A reading, not isolation.", perStation("basis")...)
	alarmActive  = gauge("alarm_active", "Alarms that are not normal: 1 while the condition is present, 0 while it only waits for an acknowledgement, is shelved, suppressed or out of service.", perStation("alarm", "priority")...)
	alarmUnseen  = gauge("alarm_unacknowledged", "Alarms that are not normal: 1 while they wait for an acknowledgement, else 0.", perStation("alarm", "priority")...)

	late       = counter("samples_late_total", "Samples dropped because they came after their time was closed.", perStation()...)
	duplicate  = counter("samples_duplicate_total", "Samples dropped because their time was seen before.", perStation()...)
	steps      = counter("clock_steps_total", "Steps of the station's clock.", perStation()...)
	gaps       = counter("gaps_total", "Gaps in the station's samples.", perStation()...)
	counterOdd = counter("count_oddities_total", "What was odd about the cycle counter: it was reset, rolled over, counted faster than strokes can follow (increments dropped), or slipped back.", perStation("kind")...)
	lag        = gauge("lag_seconds", "Arrival of the newest samples less the time up to which the station is analysed.", perStation()...)
	offset     = gauge("device_clock_offset_seconds", "Device time less arrival time of the newest samples.", perStation()...)
	silent     = gauge("silent", "1 while no samples come from the station, or none came yet, else 0.", perStation()...)
)

// station sends the series of one station.
func (s sink) station(st *board.Station, ref station.Reference, tariffs *cost.Tariffs) {
	key := &st.Plate.Key
	site, branch, name := label(key.Site), label(st.Plate.Branch), label(key.Station)
	put := func(f *family, v float64) { s.put(f, v, site, branch, name) }
	with := func(f *family, v float64, more string) { s.put(f, v, site, branch, name, more) }

	totals(st, ref, put, with)
	since(&st.Since, ref, put, with)
	costs(st.Costs.AtLeast(st.ReachedCosts), tariffs, put, with)
	present(st, put, with)
	estimates(st, ref, put, with)
	s.alarms(st.Alarms, site, branch, name)
	put(late, float64(st.Late))
	put(duplicate, float64(st.Duplicate))
	put(steps, float64(st.ClockSteps))
	put(gaps, float64(st.Gaps))
	with(counterOdd, float64(st.Counter.Resets), "reset")
	with(counterOdd, float64(st.Counter.Rolls), "roll-over")
	with(counterOdd, float64(st.Counter.Bounced), "bounce")
	with(counterOdd, float64(st.Counter.Back), "slip-back")
	put(silent, number(st.SilentSince != 0 || st.Status.At == 0))
	s.put(info, 1, site, branch, name, label(header(&st.Plate)), cadences[st.Plate.Cadence])
	if st.Newest != 0 {
		put(newest, st.Newest.Seconds())
	}
	if st.Status.At != 0 && !st.Stale() {
		put(lag, float64(st.LagNs)/1e9)
		put(offset, -float64(st.OffsetNs)/1e9)
	}
}

// alarms sends the alarms of a station or header that are not normal.
func (s sink) alarms(list []board.Alarm, site, branch, name string) {
	for i := range list {
		a := &list[i]
		s.put(alarmActive, number(a.State.Active()), site, branch, name, label(a.Transition.Alarm), a.Transition.Priority.String())
		s.put(alarmUnseen, number(a.State == rules.Unacknowledged || a.State == rules.ReturnedUnacknowledged), site, branch, name, label(a.Transition.Alarm), a.Transition.Priority.String())
	}
}

// put sends a series of the station at hand, with one that has one label more.
type (
	put  func(*family, float64)
	with func(*family, float64, string)
)

// totals sends the committed sums. A sum that never had a value, because strokes cannot
// be seen or the plate gives no swept volumes, is unknown and not zero.
func totals(st *board.Station, ref station.Reference, put put, with with) {
	t := st.Totals.AtLeast(&st.Reached)
	if t.Strokes != 0 || st.Status.StrokeRate.Known() {
		put(strokes, float64(t.Strokes))
	}
	for state, ns := range t.StateNs {
		with(stateSeconds, float64(ns)/1e9, station.State(state).String())
	}
	if d, ok := station.Duty(st.Today); ok && !st.Stale() {
		put(duty, d)
	}
	if st.Plate.SweptBoost > 0 && st.Plate.SweptDrive > 0 || t.Inlet != 0 || t.Exhaust != 0 || t.Delivered != 0 {
		r := ref.PerANR()
		with(inletAir, t.Inlet.CubicMetres()*r, ref.String())
		with(exhaustAir, t.Exhaust.CubicMetres()*r, ref.String())
		with(deliveredAir, t.Delivered.CubicMetres()*r, ref.String())
	}
}

// since sends the sums since the program's start.
func since(t *board.Since, ref station.Reference, put put, with with) {
	r := ref.PerANR()
	if t.LeakNs > 0 {
		with(leakAir, t.Leak.CubicMetres()*r, ref.String())
		put(leakKnown, float64(t.LeakNs)/1e9)
	}
	if !t.Bands {
		return
	}
	for _, x := range [...]struct {
		f *family
		v station.Microlitres
	}{
		{inletAirLow, t.InletLow}, {inletAirHigh, t.InletHigh}, {exhaustAirLow, t.ExhaustLow}, {exhaustAirHigh, t.ExhaustHigh},
		{deliveredAirLow, t.DeliveredLow}, {deliveredAirHigh, t.DeliveredHigh},
	} {
		with(x.f, x.v.CubicMetres()*r, ref.String())
	}
}

// cadences name how sensors publish.
var cadences = [...]string{station.Periodic: "periodic", station.OnChange: "on-change"}

// header returns the name of the header that a station hangs on.
func header(p *station.Plate) string {
	name, _ := p.HeaderKey().Header()
	return name
}

// costs sends what was stored of energy, money and carbon dioxide. What the site has rates for begins at zero; what was
// stored stays when the rates are taken out.
func costs(a cost.Account, tariffs *cost.Tariffs, put put, with with) {
	will := tariffs.Knows()
	sum := a.All()
	if sum.Minutes > 0 || will.Energy > 0 {
		put(airEnergy, float64(sum.Energy)/1e3)
	}
	if sum.CarbonMinutes > 0 || will.Carbon > 0 {
		put(airCarbon, float64(sum.Carbon)/1e6)
	}
	for _, c := range a.Currencies(tariffs) {
		with(airCost, float64(a.Money(c))/1e6, c)
	}
}

// present sends what holds at the moment; nothing while the status is out of date.
func present(st *board.Station, put put, with with) {
	if st.Stale() || st.Status.At == 0 {
		return
	}
	s := &st.Status
	with(stateActive, 1, s.State.String())
	if e := &s.StrokeRate; exact(e) {
		put(rate, e.Value)
	}
	if e := &s.Inlet; exact(e) {
		with(inlet, e.Value, "gauge")
	}
	if e := &s.Outlet; exact(e) {
		with(outlet, e.Value, "gauge")
	}
}
