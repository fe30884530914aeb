package web

import (
	"encoding/json"
	"math"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/live"
)

// json appends the stretch: times in s since the epoch, pressures in kPa gauge.
func (v *traceView) json(b []byte) []byte {
	b = append(b, `{"key":`...)
	b = quoted(b, path(v.Key))
	b = append(b, `,"from":`...)
	b = seconds(b, v.From)
	b = append(b, `,"now":`...)
	b = seconds(b, v.To)
	b = append(b, `,"restarted":`...)
	b = strconv.AppendBool(b, v.Restarted)
	b = append(b, `,"inlet":`...)
	b = appendLine(b, &v.Inlet)
	b = append(b, `,"outlet":`...)
	b = appendLine(b, &v.Outlet)
	b = append(b, `,"strokes":[`...)
	for i, s := range v.Strokes {
		b = append(comma(b, i), '[')
		b = append(seconds(b, s.At), ',')
		b = append(quoted(b, s.Side.String()), ']')
	}
	b = append(b, `],"intervals":[`...)
	for i, s := range v.Intervals {
		b = append(comma(b, i), '[')
		b = append(seconds(b, s.From), ',')
		b = append(seconds(b, s.To), ',')
		b = append(quoted(b, s.State.String()), ']')
	}
	b = append(b, `],"state":`...)
	b = quoted(b, v.State)
	b = append(b, `,"since":`...)
	b = seconds(b, v.Since)
	b = append(b, `,"until":`...)
	b = seconds(b, v.Until)
	b = append(b, `,"note":`...)
	b = quoted(b, v.Note)
	return append(b, '}')
}

func comma(b []byte, i int) []byte {
	if i > 0 {
		return append(b, ',')
	}
	return b
}

func seconds(b []byte, t station.Instant) []byte {
	return strconv.AppendFloat(b, t.Seconds(), 'f', 3, 64)
}

func quoted(b []byte, s string) []byte {
	q, err := json.Marshal(s)
	if err != nil {
		return append(b, `""`...)
	}
	return append(b, q...)
}

// appendLine appends a line; null is a break.
func appendLine(b []byte, l *live.Line) []byte {
	b = append(b, `{"step":`...)
	b = strconv.AppendFloat(b, float64(l.Step)/1e9, 'f', -1, 64)
	b = append(b, `,"t":[`...)
	for i, t := range l.At {
		b = seconds(comma(b, i), t)
	}
	b = append(b, `],"low":[`...)
	for i, v := range l.Low {
		b = kPa(comma(b, i), v)
	}
	b = append(b, `],"high":[`...)
	for i, v := range l.High {
		b = kPa(comma(b, i), v)
	}
	return append(b, "]}"...)
}

func kPa(b []byte, pa float32) []byte {
	if v := float64(pa); !math.IsNaN(v) && !math.IsInf(v, 0) {
		return strconv.AppendFloat(b, v/1e3, 'f', 2, 64)
	}
	return append(b, "null"...)
}
