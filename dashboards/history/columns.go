package history

import (
	"database/sql"
	"math"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// stateColumns are the columns of nanoseconds a state, in the order of the states.
const stateColumns = `blind, "off", charging, stroking, holding, starved, venting, residual`

// minuteColumns are the columns of a minute in the order of minuteValues.
const minuteColumns = `start, segment, covered, ` + stateColumns + `, strokes, stroke_method,
	inlet, exhaust, delivered, inlet_low, inlet_high, delivered_low, delivered_high, air_reason,
	inlet_mean, outlet_mean, outlet_max, leak, leak_low, leak_high, leak_method, leak_confidence, leak_at, leak_reason`

// readColumns are the columns that scanMinute reads: those of a minute and whether it was revised.
const readColumns = minuteColumns + `, revised IS NOT NULL`

// marks gives n question marks.
func marks(n int) string { return strings.TrimSuffix(strings.Repeat("?, ", n), ", ") }

// minuteValues appends the values of a minute to dst.
func minuteValues(dst []any, m *station.Minute) []any {
	dst = append(dst, int64(m.Start), int64(m.Segment), m.Covered)
	for _, ns := range m.StateNs {
		dst = append(dst, ns)
	}
	dst = append(dst, m.Strokes, m.StrokeMethod.String(),
		int64(m.Inlet), int64(m.Exhaust), int64(m.Delivered), int64(m.InletLow), int64(m.InletHigh),
		int64(m.DeliveredLow), int64(m.DeliveredHigh), text(m.AirReason),
		real(float64(m.InletMean)), real(float64(m.OutletMean)), real(float64(m.OutletMax)))
	e := &m.Leak
	return append(dst, figure(e, e.Value), figure(e, e.Low), figure(e, e.High), e.Method.String(),
		figure(e, e.Confidence), int64(e.At), text(e.Reason))
}

// scanMinute reads the columns of readColumns, then those in more.
func scanMinute(rows *sql.Rows, m *station.Minute, more ...any) error {
	var airReason, leakReason sql.NullString
	var strokeMethod, leakMethod string
	var in, out, top, leak, low, high, confidence sql.NullFloat64
	dst := []any{&m.Start, &m.Segment, &m.Covered}
	for i := range m.StateNs {
		dst = append(dst, &m.StateNs[i])
	}
	dst = append(dst, &m.Strokes, &strokeMethod, &m.Inlet, &m.Exhaust, &m.Delivered, &m.InletLow, &m.InletHigh,
		&m.DeliveredLow, &m.DeliveredHigh, &airReason, &in, &out, &top,
		&leak, &low, &high, &leakMethod, &confidence, &m.Leak.At, &leakReason, &m.Revised)
	if err := rows.Scan(append(dst, more...)...); err != nil {
		return err
	}
	m.StrokeMethod, m.AirReason = methods[strokeMethod], airReason.String
	m.InletMean, m.OutletMean, m.OutletMax = station.Gauge(number(in)), station.Gauge(number(out)), station.Gauge(number(top))
	e := &m.Leak
	e.Method, e.Reason = methods[leakMethod], leakReason.String
	e.Value, e.Low, e.High, e.Confidence = unfigure(e, leak), unfigure(e, low), unfigure(e, high), unfigure(e, confidence)
	return nil
}

// real gives v, NULL for a value that is no finite number.
func real(v float64) any {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return v
}

// number undoes real.
func number(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}

// text gives s, NULL where it is empty.
func text(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// figure gives a part of an estimate, NULL where the estimate is unknown and the part
// says nothing.
func figure(e *station.Estimate, v float64) any {
	if v == 0 && !e.Known() {
		return nil
	}
	return real(v)
}

// unfigure undoes figure.
func unfigure(e *station.Estimate, v sql.NullFloat64) float64 {
	if !v.Valid && !e.Known() {
		return 0
	}
	return number(v)
}

// Values with a fixed set of names are stored by name, so that their numbers may change.
var (
	methods     = byName(station.NumMethods)
	states      = byName(station.NumStates)
	priorities  = byName(rules.High + 1)
	alarmStates = byName(rules.OutOfService + 1)
)

// byName maps the names of the values below n to the values.
func byName[T interface {
	~uint8
	String() string
}](n T) map[string]T {
	out := make(map[string]T, n)
	for v := T(0); v < n; v++ {
		out[v.String()] = v
	}
	return out
}
