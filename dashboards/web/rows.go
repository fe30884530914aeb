package web

import (
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// row is one figure in full, or the reason why it is unknown.
type row struct {
	Name, Value, Unit string
	Band              string // 90 %
	How               string
	Sure              string // confidence
	As                string // of when
	Why               string // unknown
}

// group is a table of figures.
type group struct {
	Name    string
	Rows    []row
	Unknown []row // shown folded
}

// groups gives all figures of a station.
func groups(s *board.Station) []group {
	out := []group{{Name: "Now", Rows: nowRows(s)}}
	for g := range station.NumGroups {
		out = append(out, slowGroup(g, &s.Status.Estimates, s.Status.At, s.Plate.Reading))
		if g == station.GroupSensors {
			i := len(out) - 1
			out[i].Rows = append(out[i].Rows, inputRows(s)...)
		}
	}
	return append(out, group{Name: "Time today, since the site's midnight", Rows: todayRows(s)},
		group{Name: "Since counting began", Rows: totalRows(&s.Totals)})
}

// asOf is the age from which a figure's time is shown, ns.
const asOf = 2 * station.Minute60

// slowGroup returns the slow figures of a group; at is the time of the newest reading.
func slowGroup(g station.Group, es *station.Estimates, at station.Instant, in station.Reading) group {
	out := group{Name: g.String()}
	for f := range station.Figures {
		if station.Figures[f].Group != g || es[f].Absent {
			continue
		}
		if r := figureRow(station.Figure(f), &es[f], in); r.Why == "" {
			if at.Sub(es[f].At) < asOf {
				r.As = ""
			}
			out.Rows = append(out.Rows, r)
		} else {
			out.Unknown = append(out.Unknown, r)
		}
	}
	return out
}

func figureRow(f station.Figure, e *station.Estimate, in station.Reading) row {
	k := &station.Figures[f]
	unit, factor, places := in.Figure(k)
	if k.Air {
		unit += " ANR"
	}
	switch f {
	case station.LeakFlow:
		return leakRow(e)
	case station.LeakOnset:
		r := full(k.Title, "", e, 1, 0)
		if r.Why == "" {
			r.Value = clock(station.Instant(e.Value * 1e9))
		}
		return r
	}
	return full(k.Title, unit, e, factor, places)
}

func nowRows(s *board.Station) []row {
	st, in := &s.Status, s.Plate.Reading
	rows := []row{full("Inlet", gaugeUnit(in), &st.Inlet, in.Scale(), in.Decimals()+1), full("Outlet", gaugeUnit(in), &st.Outlet, in.Scale(), in.Decimals()+1),
		full("Stroke rate", "/min", &st.StrokeRate, 60, 0)}
	if s.Stale() {
		for i := range rows {
			rows[i] = row{Name: rows[i].Name, Why: staleSince(s)}
		}
	}
	if last := st.OutletLastSeen; rows[1].Why != "" && st.At != 0 && finite(float64(last)) {
		rows[1].Why = join(rows[1].Why, "last seen at "+in.Gauge(float64(last)))
	}
	return rows
}

// full shows an estimate times factor in the unit, with everything that is known of it.
func full(name, unit string, e *station.Estimate, factor float64, decimals int) row {
	if !e.Known() {
		return row{Name: name, Why: orElse(e.Reason, "not known yet")}
	}
	if !finite(e.Value) {
		return row{Name: name, Why: "the reading is no finite number"}
	}
	r := row{Name: name, Value: number(e.Value*factor, decimals), Unit: unit, How: how[e.Method%station.NumMethods]}
	if (e.Low != 0 || e.High != 0) && finite(e.Low) && finite(e.High) {
		r.Band = number(e.Low*factor, decimals) + " to " + number(e.High*factor, decimals)
	}
	if e.Confidence > 0 && finite(e.Confidence) {
		r.Sure = number(e.Confidence*100, 0) + " %"
	}
	if e.At != 0 {
		r.As = clock(e.At)
	}
	return r
}

func leakRow(e *station.Estimate) row {
	r := full("Leak", "L/min ANR at the operating pressure", e, 60e3, 1)
	if r.Why == "" && e.Value == 0 && e.High > 0 {
		r.Value, r.Unit, r.Band = "none seen", "", "up to "+number(e.High*60e3, 1)+" L/min ANR would not show"
	}
	return r
}

func todayRows(s *board.Station) []row {
	d := duty(s)
	rows := []row{{Name: "Duty", Value: d.Value, Unit: d.Unit, How: d.Note}}
	if !d.Known {
		rows[0] = row{Name: "Duty", Why: d.Note}
	}
	for state, ns := range s.Today {
		if ns > 0 {
			rows = append(rows, row{Name: "Time " + station.State(state).String(), Value: span(ns)})
		}
	}
	return rows
}

func totalRows(t *board.Totals) []row {
	rows := []row{
		{Name: "Strokes", Value: strconv.FormatInt(t.Strokes, 10)},
		air("Inlet air", t.Inlet), air("Drive air, part of it", t.Exhaust), air("Delivered air", t.Delivered),
	}
	if t.StateNs == [station.NumStates]int64{} && t.Strokes == 0 {
		for i := range rows {
			rows[i] = row{Name: rows[i].Name, Why: "no closed minute yet"}
		}
	}
	if d, ok := station.Duty(t.StateNs); ok {
		rows = append(rows, row{Name: "Duty", Value: number(d*100, 1), Unit: "%", How: "of fed time"})
	}
	return rows
}

// cubic gives a volume in m³ with no more decimals than it is known to.
func cubic(v station.Microlitres) string {
	m3 := v.CubicMetres()
	switch {
	case m3 >= 100:
		return number(m3, 0)
	case m3 >= 10:
		return number(m3, 1)
	}
	return number(m3, 2)
}

func air(name string, v station.Microlitres) row {
	return row{Name: name, Value: cubic(v), Unit: "m³ ANR"}
}
