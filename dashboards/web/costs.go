package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
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
	Changes              []string
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
	v := costsOf(all, sums, s.Tariffs, from, to)
	v.Version, v.From, v.To = s.Version, clock(from), clock(to)
	for _, d := range costDays {
		v.Days = append(v.Days, costPeriod{plural(d, "day"), "costs?days=" + strconv.Itoa(d), d == days})
	}
	s.render(w, "costs.html", v)
}

// costsOf puts the stations' sums in words, by site and branch; from and to bound them.
func costsOf(all []board.Station, sums map[station.Key]cost.Sum, tariffs map[string]*cost.Tariffs, from, to station.Instant) costsView {
	var v costsView
	for i := 0; i < len(all); {
		site := all[i].Plate.Key.Site
		t := tariffs[site]
		now := t.At(to)
		c := costSite{Name: site, Rates: ratesInWords(&now), Missing: missingRates(&now), Changes: changesInWords(t, from, to)}
		for i < len(all) && all[i].Plate.Key.Site == site {
			branch := all[i].Plate.Branch
			at := len(c.Rows)
			c.Rows = append(c.Rows, costRow{})
			var total cost.Sum
			for ; i < len(all) && all[i].Plate.Key.Site == site && all[i].Plate.Branch == branch; i++ {
				k := all[i].Plate.Key
				sum := sums[k]
				total.Add(&sum)
				row := costOf(&sum, &now)
				row.Name, row.Link = k.Station, "station/"+k.String()
				c.Rows = append(c.Rows, row)
			}
			c.Rows[at] = costOf(&total, &now)
			c.Rows[at].Name, c.Rows[at].Sum = orElse(branch, "no branch named"), true
		}
		v.Sites = append(v.Sites, c)
	}
	return v
}

func ratesInWords(r *cost.Rates) string {
	out := ""
	if r.Energy > 0 {
		out = number(float64(r.Energy)/3.6e9, 3) + " kWh per m³ ANR"
	}
	if r.Currency != "" {
		out = join(out, number(float64(r.Price)/1e9, 3)+" "+r.Currency+" per kWh")
	}
	if r.Carbon > 0 {
		out = join(out, number(float64(r.Carbon)/1e9, 3)+" kg CO₂ per kWh")
	}
	return out
}

// changesInWords lists the tariffs that took effect between from and to.
func changesInWords(t *cost.Tariffs, from, to station.Instant) []string {
	var out []string
	if t == nil {
		return nil
	}
	for i := range t.List {
		x := &t.List[i]
		if x.From <= from || x.From >= to {
			continue
		}
		before := t.At(x.From - 1)
		out = append(out, "Until "+x.From.Time().In(t.Location()).Format("2006-01-02 15:04")+": "+orElse(ratesInWords(&before), "no tariff")+".")
	}
	return out
}

func missingRates(r *cost.Rates) string {
	switch {
	case r.Energy <= 0:
		return "The specific energy of this site's air is not known: enter air: { specific_energy: ... } in its configuration."
	case r.Currency == "":
		return "The price of energy is not known: enter air: { price: ... } in the site's configuration."
	}
	return ""
}

// costOf puts what was stored in words; an empty text is not known. now are today's rates.
func costOf(s *cost.Sum, now *cost.Rates) costRow {
	if s.Minutes == 0 {
		return costRow{Note: "nothing stored in this time"}
	}
	row := costRow{Air: cubic(s.Inlet) + " (" + cubic(s.InletLow) + " to " + cubic(s.InletHigh) + ")", Note: unpricedInWords(s, now)}
	all := s.Account.All()
	if all.Minutes > 0 {
		row.Energy = number(float64(all.Energy)/3.6e9, 1)
	}
	if all.CarbonMinutes > 0 {
		row.CO2 = number(float64(all.Carbon)/1e9, 1)
	}
	row.Money, row.Drive = moneyInWords(s, s.Inlet), moneyInWords(s, s.Exhaust)
	if s.LeakNs > 0 {
		row.Leak = moneyInWords(s, s.LeakAtInlet())
	}
	return row
}

// moneyInWords returns the share of what was paid that part has of the air drawn, by currency.
func moneyInWords(s *cost.Sum, part station.Microlitres) string {
	share := 0.0
	if s.Inlet > 0 {
		share = float64(part) / float64(s.Inlet)
	}
	var out []string
	for _, c := range s.Account.Currencies(nil) {
		out = append(out, number(float64(s.Account.Money(c))/1e6*share, 2)+" "+c)
	}
	return strings.Join(out, " and ")
}

// unpricedInWords returns what of the time is not in the sums.
func unpricedInWords(s *cost.Sum, now *cost.Rates) string {
	out := ""
	if s.Airless > 0 {
		out = fmt.Sprintf("air unknown in %d of %d minutes: at least", s.Airless, s.Minutes)
	}
	priced, inlet := s.Account.Priced()
	all := s.Account.All()
	if open := s.Minutes - s.Airless - priced; open > 0 && (priced > 0 || now.Currency != "") {
		out = join(out, fmt.Sprintf("%d of %d minutes have no stored price", open, s.Minutes))
		if now.Energy > 0 && now.Currency != "" {
			out += fmt.Sprintf(": at today's tariff about %s %s more", number((s.Inlet-inlet).CubicMetres()*now.PerCubicMetre(), 2), now.Currency)
		}
	}
	if 0 < all.CarbonMinutes && all.CarbonMinutes < all.Minutes {
		out = join(out, fmt.Sprintf("CO₂ in %d of %d minutes", all.CarbonMinutes, s.Minutes))
	}
	if s.Revised > 0 {
		out = join(out, fmt.Sprintf("%d of %d minutes rebuilt from samples that came late", s.Revised, s.Minutes))
	}
	return out
}
