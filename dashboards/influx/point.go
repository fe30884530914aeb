package influx

import (
	"math"
	"strconv"
	"strings"

	"github.com/influxdata/influxdb-client-go/v2/api/write"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// Measurements.
const (
	minuteMeasurement = "boost_minute"
	alarmMeasurement  = "boost_alarm"
	figureMeasurement = "boost_figure"
	hourMeasurement   = "boost_hour"
)

// point gives the point of a row.
func (e *Exporter) point(r *history.ExportRow) *write.Point {
	switch {
	case r.Minute != nil:
		return minutePoint(r.Key, e.opt.Branches[r.Key], e.opt.References[r.Key.Site], r.Minute, &r.Charge)
	case r.Hour != nil:
		return hourPoint(r.Key, e.opt.Branches[r.Key], e.opt.References[r.Key.Site], r)
	case r.Figure != nil:
		return figurePoint(r.Key, e.opt.Branches[r.Key], e.opt.References[r.Key.Site], r.Figure)
	}
	return alarmPoint(r.Transition)
}

// figurePoint gives a slow figure as it stood at the end of an hour, at the hour's start. The tags
// name the figure, its SI unit and, of air, its reference; pressures are gauge. A bound's
// value says so by its method.
func figurePoint(k station.Key, branch string, ref station.Reference, f *station.HourFigure) *write.Point {
	kind := &station.Figures[f.Figure]
	p := write.NewPointWithMeasurement(figureMeasurement).SetTime(f.Hour.Time())
	tag(p, "branch", branch)
	tag(p, "figure", kind.Name)
	scale := 1.0
	if kind.Air {
		scale = ref.PerANR()
		tag(p, "reference", ref.String())
	}
	if f.Segment != 0 {
		tag(p, "segment", strconv.FormatUint(uint64(f.Segment), 10))
	}
	tag(p, "site", k.Site)
	tag(p, "station", k.Station)
	tag(p, "unit", kind.Unit)
	field(p, "value", f.Value*scale)
	if f.Low != 0 || f.High != 0 {
		field(p, "low", f.Low*scale)
		field(p, "high", f.High*scale)
	}
	field(p, "confidence_ratio", f.Confidence)
	p.AddField("method", f.Method.String())
	field(p, "obtained_seconds", f.At.Seconds())
	return p
}

// minutePoint gives a minute at its start. Air is at the reference that the tag names,
// pressures are gauge. What is unknown is left out.
func minutePoint(k station.Key, branch string, ref station.Reference, m *station.Minute, c *cost.Charge) *write.Point {
	p := stretch(minuteMeasurement, k, branch, ref, m, c)
	leakFields(p, ref, &m.Leak)
	if m.Revised {
		p.AddField("revised", true)
	}
	return p
}

// hourPoint returns an hour at its start, with the fields of a minute. Sums of hours in which something is not known of some
// minutes are lower bounds: fields say of how many.
func hourPoint(k station.Key, branch string, ref station.Reference, r *history.ExportRow) *write.Point {
	h := r.Hour
	m := h.Sum()
	p := stretch(hourMeasurement, k, branch, ref, &m, &r.Charge)
	p.AddField("minutes", h.Minutes).AddField("minutes_uncounted", h.Uncounted).AddField("minutes_airless", h.Airless).AddField("minutes_priced", r.Priced)
	if v, low, high, ok := h.Leak(); ok {
		leakBand(p, ref, v, low, high)
	}
	return p
}

// stretch returns the point of a minute or an hour, without its leak.
func stretch(measurement string, k station.Key, branch string, ref station.Reference, m *station.Minute, c *cost.Charge) *write.Point {
	p := write.NewPointWithMeasurement(measurement).SetTime(m.Start.Time())
	tag(p, "branch", branch)
	tag(p, "reference", ref.String())
	if m.Segment != 0 {
		tag(p, "segment", strconv.FormatUint(uint64(m.Segment), 10))
	}
	tag(p, "site", k.Site)
	tag(p, "station", k.Station)
	timeFields(p, m)
	if m.StrokeMethod != station.MethodNone {
		p.AddField("strokes", m.Strokes).AddField("stroke_method", m.StrokeMethod.String())
	}
	airFields(p, ref, m)
	costFields(p, c)
	field(p, "inlet_pressure_mean_gauge_pascals", float64(m.InletMean))
	field(p, "outlet_pressure_mean_gauge_pascals", float64(m.OutletMean))
	field(p, "outlet_pressure_max_gauge_pascals", float64(m.OutletMax))
	return p
}

func timeFields(p *write.Point, m *station.Minute) {
	field(p, "covered_seconds", float64(m.Covered)/1e9)
	for s := station.State(0); s < station.NumStates; s++ {
		field(p, s.String()+"_seconds", float64(m.StateNs[s])/1e9)
	}
	if duty, ok := station.Duty(m.StateNs); ok {
		field(p, "duty_ratio", duty)
	}
}

func airFields(p *write.Point, ref station.Reference, m *station.Minute) {
	if m.AirReason != "" {
		return
	}
	for _, x := range [...]struct {
		name string
		v    station.Microlitres
	}{
		{"inlet_air", m.Inlet}, {"inlet_air_low", m.InletLow}, {"inlet_air_high", m.InletHigh}, {"exhaust_air", m.Exhaust},
		{"delivered_air", m.Delivered}, {"delivered_air_low", m.DeliveredLow}, {"delivered_air_high", m.DeliveredHigh},
	} {
		field(p, x.name+"_cubic_meters", x.v.CubicMetres()*ref.PerANR())
	}
}

// costFields adds what was stored of energy, money and carbon dioxide. The currency is a field: a minute that is replaced
// keeps its point.
func costFields(p *write.Point, c *cost.Charge) {
	if !c.Known {
		return
	}
	field(p, "air_energy_joules", float64(c.Energy)/1e3)
	if c.Currency != "" {
		field(p, "air_cost", float64(c.Money)/1e6)
		p.AddField("air_cost_currency", c.Currency)
	}
	if c.CarbonKnown {
		field(p, "air_carbon_dioxide_grams", float64(c.Carbon)/1e6)
	}
}

// leakFields adds the leak. A bound is no value.
func leakFields(p *write.Point, ref station.Reference, e *station.Estimate) {
	if !e.Known() || e.Method == station.MethodBound {
		return
	}
	leakBand(p, ref, e.Value, e.Low, e.High)
	field(p, "leak_confidence_ratio", e.Confidence)
	p.AddField("leak_method", e.Method.String())
}

func leakBand(p *write.Point, ref station.Reference, v, low, high float64) {
	const name = "leak_flow"
	field(p, name+"_cubic_meters_per_second", v*ref.PerANR())
	if low != 0 || high != 0 {
		field(p, name+"_low_cubic_meters_per_second", low*ref.PerANR())
		field(p, name+"_high_cubic_meters_per_second", high*ref.PerANR())
	}
}

// alarmPoint gives a transition at its time. The state gone to is a tag, so that two
// transitions of one instant stay two points.
func alarmPoint(t *rules.Transition) *write.Point {
	p := write.NewPointWithMeasurement(alarmMeasurement).SetTime(t.At.Time())
	tag(p, "alarm", t.Alarm)
	tag(p, "branch", t.Branch)
	tag(p, "priority", t.Priority.String())
	tag(p, "site", t.Key.Site)
	tag(p, "state", t.To.String())
	tag(p, "station", t.Key.Station)
	p.AddField("active", t.To.Active())
	p.AddField("from_state", t.From.String())
	field(p, "raised_seconds", t.Raised.Seconds())
	if t.Message != "" {
		p.AddField("message", t.Message)
	}
	return p
}

// tag adds a tag, unless it is empty. A backslash would escape what follows it.
func tag(p *write.Point, key, v string) {
	if v = strings.ReplaceAll(strings.ToValidUTF8(v, "\ufffd"), `\`, "/"); v != "" {
		p.AddTag(key, v)
	}
}

// field adds a number, unless it is none.
func field(p *write.Point, key string, v float64) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		p.AddField(key, v)
	}
}
