// Package export writes stored minutes or hours to files: CSV, or Parquet. All values are in SI, under the names that the
// export to InfluxDB has as well; what is not known is empty or null.
package export

import (
	"math"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
)

// Station is a station whose rows are written.
type Station struct {
	Key       station.Key
	Branch    string
	Reference station.Reference
}

// Row is a minute or an hour. The fields are the columns of both formats, in their order.
type Row struct {
	Time      time.Time `parquet:"time,timestamp(microsecond)"` // start, UTC
	Site      string    `parquet:"site,dict"`
	Branch    string    `parquet:"branch,dict"`
	Station   string    `parquet:"station,dict"`
	Segment   int64     `parquet:"segment"` // counts up at steps of the station's clock: times repeat only across segments
	Reference string    `parquet:"reference,dict"`

	Covered  float64 `parquet:"covered_seconds"`
	Blind    float64 `parquet:"blind_seconds"`
	Off      float64 `parquet:"off_seconds"`
	Charging float64 `parquet:"charging_seconds"`
	Stroking float64 `parquet:"stroking_seconds"`
	Holding  float64 `parquet:"holding_seconds"`
	Starved  float64 `parquet:"starved_seconds"`
	Venting  float64 `parquet:"venting_seconds"`
	Residual float64 `parquet:"residual_seconds"`

	Duty         *float64 `parquet:"duty_ratio"`
	Strokes      *int64   `parquet:"strokes"`
	StrokeMethod *string  `parquet:"stroke_method"`

	Inlet         *float64 `parquet:"inlet_air_cubic_meters"`
	InletLow      *float64 `parquet:"inlet_air_low_cubic_meters"`
	InletHigh     *float64 `parquet:"inlet_air_high_cubic_meters"`
	Exhaust       *float64 `parquet:"exhaust_air_cubic_meters"`
	ExhaustLow    *float64 `parquet:"exhaust_air_low_cubic_meters"`
	ExhaustHigh   *float64 `parquet:"exhaust_air_high_cubic_meters"`
	Delivered     *float64 `parquet:"delivered_air_cubic_meters"`
	DeliveredLow  *float64 `parquet:"delivered_air_low_cubic_meters"`
	DeliveredHigh *float64 `parquet:"delivered_air_high_cubic_meters"`

	Energy   *float64 `parquet:"air_energy_joules"`
	Cost     *float64 `parquet:"air_cost"`
	Currency *string  `parquet:"air_cost_currency"`
	Carbon   *float64 `parquet:"air_carbon_dioxide_grams"`

	InletMean  *float64 `parquet:"inlet_pressure_mean_gauge_pascals"`
	OutletMean *float64 `parquet:"outlet_pressure_mean_gauge_pascals"`
	OutletMax  *float64 `parquet:"outlet_pressure_max_gauge_pascals"`

	Leak           *float64 `parquet:"leak_flow_cubic_meters_per_second"`
	LeakLow        *float64 `parquet:"leak_flow_low_cubic_meters_per_second"`
	LeakHigh       *float64 `parquet:"leak_flow_high_cubic_meters_per_second"`
	LeakConfidence *float64 `parquet:"leak_confidence_ratio"` // of minutes
	LeakMethod     *string  `parquet:"leak_method"`           // of minutes
	Why            *string  `parquet:"air_unknown_because"`

	Revised *bool `parquet:"revised"` // of minutes: late samples rebuilt it

	// Of how many minutes this is the sum, and in how many of them strokes, air and cost are not, not and are known.
	Minutes   int64 `parquet:"minutes"`
	Uncounted int64 `parquet:"minutes_uncounted"`
	Airless   int64 `parquet:"minutes_airless"`
	Priced    int64 `parquet:"minutes_priced"`
}

// RowOf returns the row of a minute or an hour of a station.
func RowOf(s *Station, x *history.ExportRow) Row {
	if h := x.Hour; h != nil {
		m := h.Sum()
		r := stretch(s, &m, &x.Charge)
		r.Minutes, r.Uncounted, r.Airless, r.Priced = h.Minutes, h.Uncounted, h.Airless, x.Priced
		if v, low, high, ok := h.Leak(); ok {
			r.leak(s.Reference, v, low, high)
		}
		return r
	}
	m := x.Minute
	r := stretch(s, m, &x.Charge)
	r.Revised = &m.Revised
	r.Minutes, r.Uncounted, r.Airless, r.Priced = 1, one(m.StrokeMethod == station.MethodNone), one(m.AirReason != ""), one(x.Charge.Known)
	if e := &m.Leak; e.Known() && e.Method != station.MethodBound {
		r.leak(s.Reference, e.Value, e.Low, e.High)
		r.LeakConfidence, r.LeakMethod = number(e.Confidence), text(e.Method.String())
	}
	return r
}

// stretch returns the row of a minute, or of an hour as one, without its leak and counts.
func stretch(s *Station, m *station.Minute, c *cost.Charge) Row {
	r := Row{Time: m.Start.Time().UTC(), Site: s.Key.Site, Branch: s.Branch, Station: s.Key.Station, Segment: int64(m.Segment), Reference: s.Reference.String(),
		Covered: float64(m.Covered) / 1e9, InletMean: number(float64(m.InletMean)), OutletMean: number(float64(m.OutletMean)), OutletMax: number(float64(m.OutletMax))}
	for state, into := range [...]*float64{station.Blind: &r.Blind, station.Off: &r.Off, station.Charging: &r.Charging, station.Stroking: &r.Stroking,
		station.Holding: &r.Holding, station.Starved: &r.Starved, station.Venting: &r.Venting, station.Residual: &r.Residual} {
		*into = float64(m.StateNs[state]) / 1e9
	}
	if d, ok := station.Duty(m.StateNs); ok {
		r.Duty = number(d)
	}
	if m.StrokeMethod != station.MethodNone {
		r.Strokes, r.StrokeMethod = &m.Strokes, text(m.StrokeMethod.String())
	}
	r.air(s.Reference, m)
	r.cost(c)
	return r
}

func (r *Row) air(ref station.Reference, m *station.Minute) {
	if m.AirReason != "" {
		r.Why = text(m.AirReason)
		return
	}
	low, high := m.ExhaustBand()
	for _, x := range [...]struct {
		into **float64
		v    station.Microlitres
	}{
		{&r.Inlet, m.Inlet}, {&r.InletLow, m.InletLow}, {&r.InletHigh, m.InletHigh},
		{&r.Exhaust, m.Exhaust}, {&r.ExhaustLow, low}, {&r.ExhaustHigh, high},
		{&r.Delivered, m.Delivered}, {&r.DeliveredLow, m.DeliveredLow}, {&r.DeliveredHigh, m.DeliveredHigh},
	} {
		*x.into = number(x.v.CubicMetres() * ref.PerANR())
	}
}

func (r *Row) cost(c *cost.Charge) {
	if !c.Known {
		return
	}
	r.Energy = number(float64(c.Energy) / 1e3)
	if c.Currency != "" {
		r.Cost, r.Currency = number(float64(c.Money)/1e6), text(c.Currency)
	}
	if c.CarbonKnown {
		r.Carbon = number(float64(c.Carbon) / 1e6)
	}
}

func (r *Row) leak(ref station.Reference, v, low, high float64) {
	r.Leak = number(v * ref.PerANR())
	if low != 0 || high != 0 {
		r.LeakLow, r.LeakHigh = number(low*ref.PerANR()), number(high*ref.PerANR())
	}
}

// number returns v, nil for what is no finite number.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func text(s string) *string { return &s }

func one(b bool) int64 {
	if b {
		return 1
	}
	return 0
}
