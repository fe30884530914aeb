package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
)

// Hours sums up what a station used in the hours that begin in [from, to).
type Hours interface {
	Used(ctx context.Context, k station.Key, from, to station.Instant) (cost.Sum, error)
}

// costDays are the periods of the page of costs.
var costDays = []int{1, 7, 30, 365}

type costsView struct {
	Root, Version, From, To string
	Days                    []costPeriod
	Sites                   []costSite
}

type costPeriod struct {
	Name, Link string
	Chosen     bool
}

// costSite is a site with its branches, and what its rates leave unsaid.
type costSite struct {
	Name, Rates, Missing string
	Rows                 []costRow
}

// costRow is a branch (Sum set) or one of its stations.
type costRow struct {
	Name, Link                           string
	Sum                                  bool
	Air, Energy, Money, Drive, Leak, CO2 string
	Note                                 string
}

// costs shows what the air of each branch cost.
func (s *site) costs(w http.ResponseWriter, r *http.Request) {
	days := 7
	if text := r.URL.Query().Get("days"); text != "" {
		var err error
		if days, err = strconv.Atoi(text); err != nil || !slices.Contains(costDays, days) {
			plain(w, http.StatusBadRequest, fmt.Sprintf("days=%.20s: expected one of 1, 7, 30, 365", text))
			return
		}
	}
	ctx, cancel := context.WithTimeout(r.Context(), queryTime)
	defer cancel()
	to := station.InstantOf(s.Now())
	from := to.Add(-int64(days) * int64(24*time.Hour)).Floor(60 * station.Minute60)
	sums := make(map[station.Key]cost.Sum)
	all := s.Board.Configured()
	for i := range all {
		if s.Hours == nil {
			break
		}
		sum, err := s.Hours.Used(ctx, all[i].Plate.Key, from, to)
		if err != nil {
			plain(w, http.StatusServiceUnavailable, "the history does not answer: "+err.Error())
			return
		}
		sums[all[i].Plate.Key] = sum
	}
	v := costsOf(all, sums, s.Rates)
	v.Version, v.From, v.To = s.Version, clock(from), clock(to)
	for _, d := range costDays {
		v.Days = append(v.Days, costPeriod{plural(d, "day"), "costs?days=" + strconv.Itoa(d), d == days})
	}
	render(w, "costs.html", v)
}

// costsOf puts the stations' sums in words, by site and branch.
func costsOf(all []board.Station, sums map[station.Key]cost.Sum, rates map[string]cost.Rates) costsView {
	var v costsView
	for i := 0; i < len(all); {
		site := all[i].Plate.Key.Site
		r := rates[site]
		c := costSite{Name: site, Rates: ratesInWords(&r), Missing: missingRates(&r)}
		for i < len(all) && all[i].Plate.Key.Site == site {
			branch := all[i].Plate.Branch
			at := len(c.Rows)
			c.Rows = append(c.Rows, costRow{})
			var total cost.Sum
			for ; i < len(all) && all[i].Plate.Key.Site == site && all[i].Plate.Branch == branch; i++ {
				k := all[i].Plate.Key
				sum := sums[k]
				total.Add(&sum)
				row := costOf(&sum, &r)
				row.Name, row.Link = k.Station, "station/"+k.String()
				c.Rows = append(c.Rows, row)
			}
			c.Rows[at] = costOf(&total, &r)
			c.Rows[at].Name, c.Rows[at].Sum = orElse(branch, "no branch named"), true
		}
		v.Sites = append(v.Sites, c)
	}
	return v
}

func ratesInWords(r *cost.Rates) string {
	out := ""
	if r.SpecificEnergy > 0 {
		out = number(r.SpecificEnergy/3.6e6, 3) + " kWh per m³ ANR"
	}
	if r.Price.PerJoule > 0 {
		out = join(out, number(r.Price.PerKWh(), 3)+" "+r.Price.Currency+" per kWh")
	}
	if r.CO2 > 0 {
		out = join(out, number(r.CO2*3.6e6, 3)+" kg CO₂ per kWh")
	}
	return out
}

func missingRates(r *cost.Rates) string {
	switch {
	case r.SpecificEnergy <= 0:
		return "The specific energy of this site's air is not known: enter air: { specific_energy: ... } in its configuration."
	case r.Price.PerJoule <= 0:
		return "The price of energy is not known: enter air: { price: ... } in the site's configuration."
	}
	return ""
}

// costOf puts a sum in words; an empty text is not known.
func costOf(s *cost.Sum, r *cost.Rates) costRow {
	if s.Minutes == 0 {
		return costRow{Note: "nothing stored in this time"}
	}
	row := costRow{Air: cubic(s.Inlet) + " (" + cubic(s.InletLow) + " to " + cubic(s.InletHigh) + ")"}
	if e, ok := r.Energy(s.Inlet); ok {
		row.Energy = number(e/3.6e6, 1)
	}
	money := func(v station.Microlitres) string {
		if x, ok := r.Money(v); ok {
			return number(x, 2) + " " + r.Price.Currency
		}
		return ""
	}
	row.Money, row.Drive = money(s.Inlet), money(s.Exhaust)
	if s.LeakNs > 0 {
		row.Leak = money(s.LeakAtInlet())
	}
	if x, ok := r.Carbon(s.Inlet); ok {
		row.CO2 = number(x, 1)
	}
	if s.Airless > 0 {
		row.Note = fmt.Sprintf("air unknown in %d of %d minutes: at least", s.Airless, s.Minutes)
	}
	return row
}
