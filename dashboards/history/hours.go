package history

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// hourLen is the length of an hour, ns.
const hourLen = 60 * station.Minute60

// Hour sums up the minutes of one hour (UTC) and segment. All sums are whole numbers: the
// same minutes give the same hour in any order. It stays when its minutes are deleted. A minute without a sample is not stored
// and not in it; an hour without one is no row. What is not there is not known.
type Hour struct {
	Start   station.Instant
	Segment uint32
	Minutes int64 // how many are in
	// Covered is the sum of the minutes', ns.
	Covered   int64
	StateNs   [station.NumStates]int64
	Strokes   int64
	Uncounted int64 // minutes whose strokes are unknown
	Traced    int64 // minutes whose strokes are known from the traces alone
	// Air is at ANR; with Airless minutes, whose air is unknown, the sums are lower bounds.
	Airless                     int64
	Inlet, Exhaust, Delivered   station.Microlitres
	InletLow, InletHigh         station.Microlitres
	DeliveredLow, DeliveredHigh station.Microlitres
	InletSum, OutletSum         int64 // mean pressure times covered time, Pa*ms
	InletTime, OutletTime       int64 // covered time of the minutes that have a mean, ns
	OutletMax                   station.Gauge
	LeakSum, LeakLow, LeakHigh  station.Microlitres // leak times covered time
	LeakTime                    int64               // covered time of the minutes whose leak is known, ns
	Revised                     int64               // minutes that were rebuilt from samples that came late
}

// InletMean gives the mean inlet pressure, NaN without one:
//
//	sum of mean * covered over the minutes / sum of covered
//
// in Pa gauge. Cutting off what is below a Pa*ms lowers it by less than 1e-4 Pa.
func (h *Hour) InletMean() station.Gauge { return station.Gauge(mean(h.InletSum, h.InletTime)) }

// OutletMean gives the mean outlet pressure as InletMean does for the inlet.
func (h *Hour) OutletMean() station.Gauge { return station.Gauge(mean(h.OutletSum, h.OutletTime)) }

// mean divides Pa*ms by ns.
func mean(sum, ns int64) float64 {
	if ns == 0 {
		return math.NaN()
	}
	return float64(sum) / (float64(ns) * 1e-6)
}

// Leak gives the mean leak of the minutes in which it is known, with its band, in m³/s ANR
// (µL/ns is m³/s); false where none is.
func (h *Hour) Leak() (value, low, high float64, ok bool) {
	t := float64(h.LeakTime)
	if t == 0 {
		return 0, 0, 0, false
	}
	return float64(h.LeakSum) / t, float64(h.LeakLow) / t, float64(h.LeakHigh) / t, true
}

// Sum returns the hour as one long minute, for exports that have the same columns for both. Its leak is Leak; strokes and air are
// unknown where they are in every minute, and lower bounds where they are in some.
func (h *Hour) Sum() station.Minute {
	m := station.Minute{Start: h.Start, Segment: h.Segment, Covered: h.Covered, StateNs: h.StateNs, Strokes: h.Strokes,
		Inlet: h.Inlet, Exhaust: h.Exhaust, Delivered: h.Delivered, InletLow: h.InletLow, InletHigh: h.InletHigh,
		DeliveredLow: h.DeliveredLow, DeliveredHigh: h.DeliveredHigh,
		InletMean: h.InletMean(), OutletMean: h.OutletMean(), OutletMax: h.OutletMax, StrokeMethod: station.MethodCounter}
	switch {
	case h.Uncounted == h.Minutes:
		m.StrokeMethod = station.MethodNone
	case h.Traced > 0:
		m.StrokeMethod = station.MethodTraces
	}
	if h.Airless == h.Minutes {
		m.AirReason = "not known in any minute of the hour"
	}
	return m
}

// What is beyond these cannot be a measurement, and is left out of sums of whole numbers,
// which would overflow and then refuse a commit for ever. The migration has them too.
const (
	mostPressure = 1e11 // Pa
	mostLeak     = 1e3  // m³/s
)

// add adds a minute of the hour. Migration 2 does the same in SQL, and both cut fractions off:
// they would round differently.
func (h *Hour) add(m *station.Minute) {
	h.Minutes++
	h.Covered += m.Covered
	for s, ns := range m.StateNs {
		h.StateNs[s] += ns
	}
	h.Strokes += m.Strokes
	switch m.StrokeMethod {
	case station.MethodNone:
		h.Uncounted++
	case station.MethodTraces:
		h.Traced++
	}
	if m.AirReason != "" {
		h.Airless++
	}
	h.Inlet += m.Inlet
	h.Exhaust += m.Exhaust
	h.Delivered += m.Delivered
	if m.Revised {
		h.Revised++
	}
	h.InletLow += m.InletLow
	h.InletHigh += m.InletHigh
	h.DeliveredLow += m.DeliveredLow
	h.DeliveredHigh += m.DeliveredHigh
	weigh(m.InletMean, m.Covered, &h.InletSum, &h.InletTime)
	weigh(m.OutletMean, m.Covered, &h.OutletSum, &h.OutletTime)
	if top := m.OutletMax; math.Abs(float64(top)) < mostPressure && !(h.OutletMax >= top) {
		h.OutletMax = top
	}
	h.addLeak(&m.Leak, m.Covered)
}

func weigh(p station.Gauge, covered int64, sum, time *int64) {
	if math.Abs(float64(p)) < mostPressure {
		*sum += int64(float64(p) * (float64(covered) * 1e-6))
		*time += covered
	}
}

func (h *Hour) addLeak(e *station.Estimate, covered int64) {
	if !e.Known() || !(math.Abs(e.Value) < mostLeak && math.Abs(e.Low) < mostLeak && math.Abs(e.High) < mostLeak) {
		return
	}
	for _, x := range [...]struct {
		sum *station.Microlitres
		v   float64
	}{{&h.LeakSum, e.Value}, {&h.LeakLow, e.Low}, {&h.LeakHigh, e.High}} {
		*x.sum += station.Microlitres(x.v * float64(covered))
	}
	h.LeakTime += covered
}

// hourColumns are the columns of an hour in the order of hourFields. All but the key, the
// revision and the highest outlet are sums.
const hourColumns = `start, segment, minutes, covered, ` + stateColumns + `, strokes, uncounted, traced, airless,
	inlet, exhaust, delivered, inlet_low, inlet_high, delivered_low, delivered_high,
	inlet_time, inlet_sum, outlet_time, outlet_sum, leak_time, leak_sum, leak_low, leak_high`

// hourFields appends pointers to the fields of hourColumns to dst.
func hourFields(dst []any, h *Hour) []any {
	dst = append(dst, &h.Start, &h.Segment, &h.Minutes, &h.Covered)
	for i := range h.StateNs {
		dst = append(dst, &h.StateNs[i])
	}
	return append(dst, &h.Strokes, &h.Uncounted, &h.Traced, &h.Airless,
		&h.Inlet, &h.Exhaust, &h.Delivered, &h.InletLow, &h.InletHigh, &h.DeliveredLow, &h.DeliveredHigh,
		&h.InletTime, &h.InletSum, &h.OutletTime, &h.OutletSum, &h.LeakTime, &h.LeakSum, &h.LeakLow, &h.LeakHigh)
}

// hourValues appends the values of hourColumns to dst.
func hourValues(dst []any, h *Hour) []any {
	dst = append(dst, int64(h.Start), int64(h.Segment), h.Minutes, h.Covered)
	for _, ns := range h.StateNs {
		dst = append(dst, ns)
	}
	return append(dst, h.Strokes, h.Uncounted, h.Traced, h.Airless,
		int64(h.Inlet), int64(h.Exhaust), int64(h.Delivered), int64(h.InletLow), int64(h.InletHigh), int64(h.DeliveredLow), int64(h.DeliveredHigh),
		h.InletTime, h.InletSum, h.OutletTime, h.OutletSum, h.LeakTime, int64(h.LeakSum), int64(h.LeakLow), int64(h.LeakHigh))
}

// hourUpsert adds to an hour, or makes it.
const hourUpsert = `INSERT INTO hours (station, revision, outlet_max, ` + hourColumns + `) VALUES (%s)
	ON CONFLICT DO UPDATE SET revision = max(revision, excluded.revision),
	outlet_max = max(coalesce(outlet_max, excluded.outlet_max), coalesce(excluded.outlet_max, outlet_max)),
	minutes = minutes + excluded.minutes, covered = covered + excluded.covered,
	blind = blind + excluded.blind, "off" = "off" + excluded."off", charging = charging + excluded.charging,
	stroking = stroking + excluded.stroking, holding = holding + excluded.holding, starved = starved + excluded.starved,
	venting = venting + excluded.venting, residual = residual + excluded.residual,
	strokes = strokes + excluded.strokes, uncounted = uncounted + excluded.uncounted, traced = traced + excluded.traced,
	airless = airless + excluded.airless, inlet = inlet + excluded.inlet, exhaust = exhaust + excluded.exhaust,
	delivered = delivered + excluded.delivered, inlet_low = inlet_low + excluded.inlet_low, inlet_high = inlet_high + excluded.inlet_high,
	delivered_low = delivered_low + excluded.delivered_low, delivered_high = delivered_high + excluded.delivered_high,
	inlet_time = inlet_time + excluded.inlet_time, inlet_sum = inlet_sum + excluded.inlet_sum,
	outlet_time = outlet_time + excluded.outlet_time, outlet_sum = outlet_sum + excluded.outlet_sum,
	leak_time = leak_time + excluded.leak_time, leak_sum = leak_sum + excluded.leak_sum,
	leak_low = leak_low + excluded.leak_low, leak_high = leak_high + excluded.leak_high`

// hour adds a stored minute to the open one of the transaction's hours; minutes come in
// order of time, so that a commit writes an hour of a station once.
func (tx *transaction) hour(id int64, revision uint32, h *Hour, m *station.Minute) error {
	start := m.Start.Floor(hourLen)
	if h.Minutes > 0 && (h.Start != start || h.Segment != m.Segment) {
		if err := tx.closeHour(id, revision, h); err != nil {
			return err
		}
	}
	if h.Minutes == 0 {
		*h = Hour{Start: start, Segment: m.Segment, OutletMax: station.Gauge(math.NaN())}
	}
	h.add(m)
	return nil
}

// closeHour stores what has been added up, if anything has.
func (tx *transaction) closeHour(id int64, revision uint32, h *Hour) error {
	if h.Minutes == 0 {
		return nil
	}
	tx.args = hourValues(append(tx.args[:0], id, int64(revision), real(float64(h.OutletMax))), h)
	if _, err := tx.stmt.hour.ExecContext(tx.ctx, tx.args...); err != nil {
		return fmt.Errorf("hour %s: %w", h.Start, err)
	}
	h.Minutes = 0
	return nil
}

// FirstHour returns the first hour of a station that is stored, false where none is.
func (s *Store) FirstHour(ctx context.Context, k station.Key) (station.Instant, bool, error) {
	var first sql.NullInt64
	err := s.each(ctx, "hours", func(rows *sql.Rows) error { return rows.Scan(&first) }, `SELECT min(start) FROM hours WHERE `+ofStation, k.Site, k.Station)
	return station.Instant(first.Int64), first.Valid, err
}

// Hours gives the hours of a station that start in [from, to), in order of time, then
// segment.
func (s *Store) Hours(ctx context.Context, k station.Key, from, to station.Instant) ([]Hour, error) {
	var out []Hour
	err := s.each(ctx, "hours", func(rows *sql.Rows) error {
		var h Hour
		var top sql.NullFloat64
		if err := rows.Scan(append(hourFields(nil, &h), &top, &h.Revised)...); err != nil {
			return err
		}
		h.OutletMax = station.Gauge(number(top))
		out = append(out, h)
		return nil
	}, `SELECT `+hourColumns+`, outlet_max, revised FROM hours WHERE `+ofStation+` AND start >= ? AND start < ? ORDER BY start, segment`,
		k.Site, k.Station, int64(from), int64(to))
	return out, err
}
