package web

import (
	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// figure is one number of a station, or why there is none.
type figure struct {
	Name  string
	Value string // "unknown" where there is none
	Unit  string
	Note  string // how it was obtained, or why it is unknown
	Known bool
}

// how says in words how an estimate was obtained.
var how = [station.NumMethods]string{
	station.MethodTraces:  "from the pressure traces",
	station.MethodCounter: "from the cycle counter",
	station.MethodBoth:    "counted, timed by the traces",
	station.MethodDecay:   "from the outlet's fall while the piston stood",
	station.MethodMakeup:  "from strokes that make up a steady draw",
	station.MethodBound:   "a bound, not a value",
	station.MethodPlate:   "from plate data",

	station.MethodRecharge: "from quiet recharges of the tank",
	station.MethodMeter:    "calibrated by a flow meter",
	station.MethodTrend:    "from its earlier values",
}

// figures builds a station's numbers, in the order in which they are read.
func figures(s *board.Station) []figure {
	st, in := &s.Status, s.Plate.Reading
	rate := measure("Stroke rate", "/min", &st.StrokeRate, 60, 0)
	inlet := measure("Inlet", gaugeUnit(in), &st.Inlet, in.Scale(), in.Decimals())
	outlet := measure("Outlet", gaugeUnit(in), &st.Outlet, in.Scale(), in.Decimals())
	if inlet.Known {
		inlet.Note = ""
	}
	if outlet.Known {
		outlet.Note = ""
	}
	if s.Stale() {
		why := staleSince(s)
		rate, inlet, outlet = unknown("Stroke rate", why), unknown("Inlet", why), unknown("Outlet", why)
	}
	if last := st.OutletLastSeen; !outlet.Known && st.At != 0 && finite(float64(last)) {
		outlet.Note = join(outlet.Note, "last seen at "+in.Gauge(float64(last)))
	}
	return []figure{inlet, outlet, duty(s), rate, leak(&st.Estimates[station.LeakFlow]),
		measure("Inlet sag", "%", &st.Estimates[station.SupplySag], 100, 0)}
}

// measure shows an estimate times factor in the unit, with so many decimals.
func measure(name, unit string, e *station.Estimate, factor float64, decimals int) figure {
	if !e.Known() {
		return unknown(name, orElse(e.Reason, "not known yet"))
	}
	if !finite(e.Value) {
		return unknown(name, "the reading is no finite number")
	}
	f := figure{Name: name, Value: number(e.Value*factor, decimals), Unit: unit, Note: how[e.Method%station.NumMethods], Known: true}
	if (e.Low != 0 || e.High != 0) && finite(e.Low) && finite(e.High) {
		f.Note = join("90 %: "+number(e.Low*factor, decimals)+" to "+number(e.High*factor, decimals), f.Note)
	}
	return f
}

// leak shows the leak; a zero with a bound above it says only that none was seen.
func leak(e *station.Estimate) figure {
	f := measure("Leak", "L/min ANR", e, 60e3, 1)
	if f.Known && e.Value == 0 && e.High > 0 {
		f.Value, f.Unit = "none seen", ""
		f.Note = join("up to "+number(e.High*60e3, 1)+" L/min ANR would not show", how[e.Method%station.NumMethods])
	}
	return f
}

func duty(s *board.Station) figure {
	d, ok := station.Duty(s.Today)
	if !ok {
		return unknown("Duty today", "not fed in any closed minute since midnight")
	}
	return figure{Name: "Duty today", Value: number(d*100, 0), Unit: "%", Note: "of fed time since midnight", Known: true}
}

func unknown(name, why string) figure { return figure{Name: name, Value: "unknown", Note: why} }
