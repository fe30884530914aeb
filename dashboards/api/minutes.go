package api

import (
	"net/http"
	"strings"

	"strokewise/analyzer/station"
)

// compare orders texts.
func compare(a, b string) int { return strings.Compare(a, b) }

// Minute is a closed minute of a station: UTC, half-open. Pressures are gauge; volumes of air at the site's reference. What is unknown is
// null, and a minute without a sample is not there.
type Minute struct {
	Minute        string   `json:"minute"`
	Segment       uint32   `json:"segment"` // counts how often the clock was set back
	Covered       float64  `json:"covered_s"`
	Stroking      float64  `json:"stroking_s"`
	Holding       float64  `json:"holding_s"`
	Starved       float64  `json:"starved_s"`
	Blind         float64  `json:"blind_s"`
	Duty          *float64 `json:"duty"`
	Strokes       *int64   `json:"strokes"`
	Method        string   `json:"method"`
	Inlet         *float64 `json:"inlet_air_l"`
	InletLow      *float64 `json:"inlet_air_low_l"`
	InletHigh     *float64 `json:"inlet_air_high_l"`
	Exhaust       *float64 `json:"exhaust_air_l"`
	Delivered     *float64 `json:"delivered_air_l"`
	DeliveredLow  *float64 `json:"delivered_air_low_l"`
	DeliveredHigh *float64 `json:"delivered_air_high_l"`
	Leak          *float64 `json:"leak_flow_l_min"`
	InletMean     *float64 `json:"inlet_pressure_kpa"`
	OutletMean    *float64 `json:"outlet_pressure_kpa"`
	OutletMax     *float64 `json:"outlet_pressure_highest_kpa"`
	Reason        string   `json:"reason"`  // why the air is unknown
	Revised       bool     `json:"revised"` // late samples rebuilt it
}

// Interval is a stretch of one state, half-open.
type Interval struct {
	State string `json:"state"`
	From  string `json:"from"`
	To    string `json:"to"`
}

// minutes answers with closed minutes.
func (h *handlers) minutes(r *http.Request) (any, error) {
	q := queryOf(r, "from", "to", "limit")
	from, to := q.span(h.now())
	limit := q.limit()
	if err := q.problem(); err != nil {
		return nil, err
	}
	s, err := h.named(r)
	if err != nil {
		return nil, err
	}
	out := page[Minute]{Items: []Minute{}}
	// whole minutes from here on; where some are missing the answer has fewer rows and still leads on
	until := min(to, from.Floor(station.Minute60).Add(int64(limit)*station.Minute60))
	if h.History != nil {
		leave, err := h.lane(r.Context())
		if err != nil {
			return nil, err
		}
		defer leave()
		list, err := h.History.Minutes(r.Context(), s.Plate.Key, from, until)
		if err != nil {
			return nil, err
		}
		for i := range list {
			out.Items = append(out.Items, minuteOf(&list[i], h.litres(s.Plate.Key.Site)))
		}
	}
	if until < to {
		out.Next = next(r, "from", until.String())
	}
	return out, nil
}

// minuteOf returns a minute's row; scale is the site's litres in one at ANR.
func minuteOf(m *station.Minute, scale float64) Minute {
	out := Minute{Minute: m.Start.String(), Segment: m.Segment, Covered: seconds(m.Covered), Stroking: seconds(m.StateNs[station.Stroking]),
		Holding: seconds(m.StateNs[station.Holding]), Starved: seconds(m.StateNs[station.Starved]), Blind: seconds(m.StateNs[station.Blind]),
		Method: m.StrokeMethod.String(), InletMean: known(m.InletMean.KPa()), OutletMean: known(m.OutletMean.KPa()), OutletMax: known(m.OutletMax.KPa()),
		Reason: m.AirReason, Revised: m.Revised}
	if d, ok := station.Duty(m.StateNs); ok {
		out.Duty = &d
	}
	if m.StrokeMethod != station.MethodNone {
		n := m.Strokes
		out.Strokes = &n
	}
	if m.AirReason == "" {
		out.Inlet, out.InletLow, out.InletHigh = litres(m.Inlet, scale), litres(m.InletLow, scale), litres(m.InletHigh, scale)
		out.Exhaust = litres(m.Exhaust, scale)
		out.Delivered, out.DeliveredLow, out.DeliveredHigh = litres(m.Delivered, scale), litres(m.DeliveredLow, scale), litres(m.DeliveredHigh, scale)
	}
	if m.Leak.Known() && m.Leak.Method != station.MethodBound {
		out.Leak = known(m.Leak.Value * 60e3 * scale)
	}
	return out
}

// states answers with the states of a station.
func (h *handlers) states(r *http.Request) (any, error) {
	q := queryOf(r, "from", "to", "limit")
	from, to := q.span(h.now())
	limit := q.limit()
	if err := q.problem(); err != nil {
		return nil, err
	}
	s, err := h.named(r)
	if err != nil {
		return nil, err
	}
	out := page[Interval]{Items: []Interval{}}
	if h.History == nil {
		return out, nil
	}
	leave, err := h.lane(r.Context())
	if err != nil {
		return nil, err
	}
	defer leave()
	list, err := h.History.Intervals(r.Context(), s.Plate.Key, from, to)
	if err != nil {
		return nil, err
	}
	for i := range list {
		if len(out.Items) == limit {
			out.Next = next(r, "from", list[i].From.String())
			break
		}
		out.Items = append(out.Items, Interval{(list[i].State % station.NumStates).String(), list[i].From.String(), list[i].To.String()})
	}
	return out, nil
}
