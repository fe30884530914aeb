package api

import (
	"net/http"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// Station is a station as it is now. Pressures are gauge. What is unknown is null.
type Station struct {
	Site     string   `json:"site"`
	Branch   string   `json:"branch"`
	Name     string   `json:"station"`
	Header   string   `json:"header"`
	At       string   `json:"at"` // up to which its samples are judged; "": none were
	State    string   `json:"state"`
	Since    string   `json:"state_since"`
	Silent   string   `json:"silent_since"` // "": it is not
	Inlet    *float64 `json:"inlet_pressure_kpa"`
	Outlet   *float64 `json:"outlet_pressure_kpa"`
	Rate     *float64 `json:"strokes_per_min"`
	Duty     *float64 `json:"duty_today"` // of the fed time since the site's midnight
	Strokes  int64    `json:"strokes_total"`
	Alarms   int      `json:"alarms"`         // that are not normal
	Priority string   `json:"worst_priority"` // of those that are active; "": none is
}

// StationNow is a station with its figures.
type StationNow struct {
	Station
	Reason  string   `json:"state_reason,omitempty"`
	Figures []Figure `json:"figures"`
	Open    []Alarm  `json:"open_alarms"`
}

// Figure is what is known of a station beyond its readings of the moment, in SI units; volumes of air at the reference that is named.
type Figure struct {
	Name       string   `json:"name"`
	Title      string   `json:"title"`
	Unit       string   `json:"unit"`
	Reference  string   `json:"reference,omitempty"` // of air
	Value      *float64 `json:"value"`
	Low        *float64 `json:"low,omitempty"` // of the 90 % band
	High       *float64 `json:"high,omitempty"`
	Method     string   `json:"method,omitempty"`
	Confidence *float64 `json:"confidence,omitempty"` // 0 to 1
	From       string   `json:"from,omitempty"`       // of the window that it comes from
	At         string   `json:"at,omitempty"`
	Reason     string   `json:"reason,omitempty"` // why it is unknown
}

// stations answers with the stations as they are now.
func (h *handlers) stations(r *http.Request) (any, error) {
	q := queryOf(r, "site", "branch", "limit", "after")
	limit := q.limit()
	if err := q.problem(); err != nil {
		return nil, err
	}
	all := h.chosen(q)
	list := make([]Station, len(all))
	for i := range all {
		list[i] = nowOf(&all[i])
	}
	slices.SortFunc(list, func(a, b Station) int { return strings.Compare(a.key(), b.key()) })
	return paging(r, list, (*Station).key, q.Get("after"), limit), nil
}

func (s *Station) key() string { return s.Site + "/" + s.Name }

// chosen returns the stations of a site and branch of the query.
func (h *handlers) chosen(q *query) []board.Station {
	return slices.DeleteFunc(h.Board.All(), func(s board.Station) bool {
		return q.Get("site") != "" && s.Plate.Key.Site != q.Get("site") || q.Has("branch") && s.Plate.Branch != q.Get("branch")
	})
}

// station answers with one station and its figures.
func (h *handlers) station(r *http.Request) (any, error) {
	if err := queryOf(r).problem(); err != nil {
		return nil, err
	}
	s, err := h.named(r)
	if err != nil {
		return nil, err
	}
	out := StationNow{Station: nowOf(&s), Reason: s.Status.StateReason.In(s.Plate.Reading), Figures: h.figures(&s), Open: []Alarm{}}
	for i := range s.Alarms {
		out.Open = append(out.Open, alarmOf(&s.Alarms[i]))
	}
	return out, nil
}

// named returns the station that the path names.
func (h *handlers) named(r *http.Request) (board.Station, error) {
	k := station.Key{Site: r.PathValue("site"), Station: r.PathValue("station")}
	s, ok := h.Board.Get(k)
	switch {
	case ok:
		return s, nil
	case !h.Board.Ready():
		return s, missing("there is no station %.80q at site %.80q; the history is still being restored, try again in a moment", k.Station, k.Site)
	}
	return s, missing("there is no station %.80q at site %.80q; %s/stations lists those that there are", k.Station, k.Site, Root)
}

// nowOf returns a station's row. What is out of date is left unknown.
func nowOf(s *board.Station) Station {
	st, p := &s.Status, &s.Plate
	out := Station{Site: p.Key.Site, Branch: p.Branch, Name: p.Key.Station, Header: p.HeaderKey().Station, At: moment(st.At), Silent: moment(s.SilentSince),
		State: station.Blind.String(), Strokes: s.Totals.Strokes, Alarms: len(s.Alarms)}
	if d, ok := station.Duty(s.Today); ok {
		out.Duty = &d
	}
	worst := -1
	for i := range s.Alarms {
		t := &s.Alarms[i].Transition
		if n := int(t.Priority); s.Alarms[i].State.Active() && n > worst {
			worst, out.Priority = n, t.Priority.String()
		}
	}
	if st.At == 0 || s.Stale() {
		return out
	}
	out.State, out.Since = (st.State % station.NumStates).String(), moment(st.Since)
	out.Inlet, out.Outlet, out.Rate = of(&st.Inlet, 1e-3), of(&st.Outlet, 1e-3), of(&st.StrokeRate, 60)
	return out
}

// of returns an estimate's value times scale, nil while it is unknown.
func of(e *station.Estimate, scale float64) *float64 {
	if !e.Known() {
		return nil
	}
	return known(e.Value * scale)
}

// figures returns the slow figures of a station. Those that this version does not estimate are left out.
func (h *handlers) figures(s *board.Station) []Figure {
	out := []Figure{}
	for i := range s.Status.Estimates {
		e, kind := &s.Status.Estimates[i], &station.Figures[i]
		if e.Absent {
			continue
		}
		f := Figure{Name: kind.Name, Title: kind.Title, Unit: kind.Unit}
		scale := 1.0
		if kind.Air {
			ref := h.References[s.Plate.Key.Site]
			scale, f.Reference = ref.PerANR(), ref.String()
		}
		if e.Known() {
			f.Value, f.Method, f.Confidence = known(e.Value*scale), e.Method.String(), known(e.Confidence)
			f.From, f.At = moment(e.From), moment(e.At)
			if e.Low != 0 || e.High != 0 {
				f.Low, f.High = known(e.Low*scale), known(e.High*scale)
			}
		} else {
			f.Reason = e.Reason
		}
		out = append(out, f)
	}
	return out
}
