package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// hour is an hour, ns.
const hour = 60 * station.Minute60

// Used is what a station used, over whole hours. Volumes are at the site's reference; of the 90 % band of the air drawn those of hours are
// added up. Energy, money and carbon dioxide are those that were stored with the minutes, in priced_minutes of them.
type Used struct {
	Site      string   `json:"site"`
	Branch    string   `json:"branch"`
	Station   string   `json:"station"`
	From      string   `json:"from"`
	To        string   `json:"to"`
	Minutes   int64    `json:"minutes"`
	Airless   int64    `json:"minutes_without_air"`
	Inlet     *float64 `json:"inlet_air_l"`
	InletLow  *float64 `json:"inlet_air_low_l"`
	InletHigh *float64 `json:"inlet_air_high_l"`
	Exhaust   *float64 `json:"exhaust_air_l"`
	Delivered *float64 `json:"delivered_air_l"`
	Leak      *float64 `json:"leak_air_l"` // while the leak was known
	LeakKnown float64  `json:"leak_known_s"`
	Priced    int64    `json:"priced_minutes"`
	Energy    *float64 `json:"energy_kwh"`
	Currency  string   `json:"currency"`
	Money     *float64 `json:"cost"` // in the currency; null where none is stored, or more than one
	Carbon    *float64 `json:"carbon_dioxide_kg"`
}

// air answers with what each station used in the hours that begin in [from, to).
func (h *handlers) air(r *http.Request) (any, error) {
	q := queryOf(r, "site", "branch", "from", "to")
	from, to := q.span(h.now())
	if err := q.problem(); err != nil {
		return nil, err
	}
	from, to = from.Floor(hour), to.Add(hour-1).Floor(hour)
	out := page[Used]{Items: []Used{}}
	return &out, h.read(r.Context(), func(ctx context.Context, stored History) error {
		for _, s := range h.chosen(q) {
			sum, err := stored.Used(ctx, s.Plate.Key, from, to)
			if err != nil {
				return err
			}
			u := usedOf(&sum, h.litres(s.Plate.Key.Site))
			u.Site, u.Branch, u.Station, u.From, u.To = s.Plate.Key.Site, s.Plate.Branch, s.Plate.Key.Station, from.String(), to.String()
			out.Items = append(out.Items, u)
		}
		slices.SortFunc(out.Items, func(a, b Used) int { return strings.Compare(a.Site+"/"+a.Station, b.Site+"/"+b.Station) })
		return nil
	})
}

// usedOf returns the row of a sum.
func usedOf(s *cost.Sum, scale float64) Used {
	u := Used{Minutes: s.Minutes, Airless: s.Airless, LeakKnown: seconds(s.LeakNs)}
	if s.Minutes > s.Airless {
		u.Inlet, u.InletLow, u.InletHigh = litres(s.Inlet, scale), litres(s.InletLow, scale), litres(s.InletHigh, scale)
		u.Exhaust, u.Delivered = litres(s.Exhaust, scale), litres(s.Delivered, scale)
	}
	if s.LeakNs > 0 {
		u.Leak = litres(s.Leak, scale)
	}
	all := s.Account.All()
	if all.Minutes == 0 {
		return u
	}
	u.Priced, _ = s.Account.Priced()
	u.Energy = known(float64(all.Energy) / 3.6e9)
	if all.CarbonMinutes > 0 {
		u.Carbon = known(float64(all.Carbon) / 1e9)
	}
	if list := s.Account.Currencies(nil); len(list) == 1 {
		u.Currency, u.Money = list[0], known(float64(s.Account.Money(list[0]))/1e6)
	}
	return u
}

// Due is an inspection or a service of a station. Local law governs.
type Due struct {
	Site       string `json:"site"`
	Branch     string `json:"branch"`
	Station    string `json:"station"`
	What       string `json:"what"`
	Date       string `json:"due"` // "": not by date
	Last       string `json:"last_done"`
	Interval   int64  `json:"interval_cycles"` // 0: not by cycles
	CyclesLeft *int64 `json:"cycles_left"`     // negative: overdue
	Document   string `json:"document"`
	By         string `json:"by"`
}

// due answers with what comes due.
func (h *handlers) due(r *http.Request) (any, error) {
	q := queryOf(r, "site", "limit", "after")
	limit := q.limit()
	if err := q.problem(); err != nil {
		return nil, err
	}
	list := []Due{}
	for _, s := range h.chosen(q) {
		dues := s.DuesAt(h.now())
		for i := range dues {
			d := &dues[i]
			row := Due{Site: s.Plate.Key.Site, Branch: s.Plate.Branch, Station: s.Plate.Key.Station, What: d.What.String(), Date: d.Date, Last: d.Last,
				Interval: d.Interval, Document: d.Document, By: d.By}
			if left := d.CyclesLeft; d.Interval > 0 {
				row.CyclesLeft = &left
			}
			list = append(list, row)
		}
	}
	slices.SortFunc(list, func(a, b Due) int { return strings.Compare(a.key(), b.key()) })
	return paging(r, list, (*Due).key, q.Get("after"), limit), nil
}

func (d *Due) key() string { return d.Site + "/" + d.Station + "/" + d.What }
