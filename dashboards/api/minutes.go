package api

import (
	"context"
	"net/http"

	"strokewise/analyzer/station"
)

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

// stretch is what a request for a station's stored rows asks for.
type stretch struct {
	key      station.Key
	from, to station.Instant
	limit    int
}

// asked reads a request for a station's stored rows.
func (h *handlers) asked(r *http.Request) (x stretch, err error) {
	q := queryOf(r, "from", "to", "limit")
	x.from, x.to = q.span(h.now())
	x.limit = q.limit()
	if err := q.problem(); err != nil {
		return x, err
	}
	s, err := h.named(r)
	x.key = s.Plate.Key
	return x, err
}

// minutes answers with closed minutes. A page looks at as many minutes as it may have rows: where some are missing it has fewer, and
// still leads on.
func (h *handlers) minutes(r *http.Request) (any, error) {
	x, err := h.asked(r)
	if err != nil {
		return nil, err
	}
	out := page[Minute]{Items: []Minute{}}
	until := min(x.to, x.from.Floor(station.Minute60).Add(int64(x.limit)*station.Minute60))
	if until < x.to {
		out.Next = next(r, "from", until.String())
	}
	return &out, h.read(r.Context(), func(ctx context.Context, stored History) error {
		list, err := stored.Minutes(ctx, x.key, x.from, until)
		for i := range list {
			out.Items = append(out.Items, minuteOf(&list[i], h.litres(x.key.Site)))
		}
		return err
	})
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
	x, err := h.asked(r)
	if err != nil {
		return nil, err
	}
	out := page[Interval]{Items: []Interval{}}
	return &out, h.read(r.Context(), func(ctx context.Context, stored History) error {
		list, err := stored.Intervals(ctx, x.key, x.from, x.to)
		for i := range list {
			if len(out.Items) == x.limit {
				out.Next = next(r, "from", list[i].From.String())
				break
			}
			out.Items = append(out.Items, Interval{(list[i].State % station.NumStates).String(), list[i].From.String(), list[i].To.String()})
		}
		return err
	})
}
