package trend

import "math"

// JSON is a report for other programs: values in SI units, slopes a week, days as dates.
// What is not known is null.
type JSON struct {
	Station string       `json:"station"`
	From    string       `json:"from"`
	To      string       `json:"to"`
	Work    string       `json:"maintenance,omitempty"`
	Series  []SeriesJSON `json:"series"`
}

// SeriesJSON is one figure.
type SeriesJSON struct {
	Name    string       `json:"figure"`
	Unit    string       `json:"unit"`
	Days    int          `json:"days"`
	Value   *float64     `json:"value"`
	Band    *[2]float64  `json:"value_band,omitempty"`
	Week    *float64     `json:"slope_a_week"`
	Slope   *[2]float64  `json:"slope_band,omitempty"`
	P       *float64     `json:"p"`
	Told    bool         `json:"trend"`
	Changes []ChangeJSON `json:"changes,omitempty"`
	Recent  string       `json:"recent_shift,omitempty"` // day it began about
	Limit   *float64     `json:"limit,omitempty"`
	Passes  *string      `json:"passes,omitempty"`
	Dates   *[2]*string  `json:"passes_band,omitempty"` // a null end: perhaps not at all
	Reason  string       `json:"reason,omitempty"`
	NoDate  string       `json:"passes_reason,omitempty"`
}

// ChangeJSON is a change of level.
type ChangeJSON struct {
	Day  string  `json:"day"`
	Size float64 `json:"size"`
	P    float64 `json:"p_at_most"`
}

// JSON gives the report for other programs.
func (r *Report) JSON() JSON {
	out := JSON{Station: r.Key.String(), From: Date(r.From), To: Date(r.To), Work: r.Work, Series: []SeriesJSON{}}
	for i := range r.Series {
		out.Series = append(out.Series, r.Series[i].json())
	}
	return out
}

func (s *Series) json() SeriesJSON {
	out := SeriesJSON{Name: s.Name, Unit: s.Unit, Days: len(s.Days), Reason: s.Why, Told: s.Told}
	if s.Why != "" {
		return out
	}
	week := 7 * s.Slope.Value
	out.Value, out.Week, out.P = &s.Value, &week, &s.P
	if low, high := 7*s.Slope.Low, 7*s.Slope.High; !math.IsInf(low, 0) && !math.IsInf(high, 0) {
		out.Slope = &[2]float64{low, high}
		out.Band = &[2]float64{s.Value - s.Half, s.Value + s.Half}
	}
	for _, c := range s.Changes {
		out.Changes = append(out.Changes, ChangeJSON{Date(c.Day), c.Size, c.P})
	}
	if s.Late != nil {
		out.Recent = Date(s.Late.Day)
	}
	if s.Limit == 0 {
		return out
	}
	out.Limit, out.NoDate = &s.Limit, s.NoDate
	if p := s.Passing; p != nil {
		on, early := Date(p.Day), Date(p.Early)
		out.Passes, out.Dates = &on, &[2]*string{&early, nil}
		if p.Late != Never {
			late := Date(p.Late)
			out.Dates[1] = &late
		}
	}
	return out
}
