package config

import (
	"fmt"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

const (
	tariffExample = "{ from: 2027-01-01, price: 0.21 EUR/kWh }"
	hoursExample  = `{ days: mon-fri, from: "22:00", to: "06:00", price: 0.09 EUR/kWh }`
	mostTariffs   = 1000
	mostHours     = 50 // of a tariff

	firstYear, lastYear = 1970, 2200 // of tariffs
)

// Rates are what a site pays for its air. A zero is not known.
type Rates struct {
	SpecificEnergy float64       // J per m³ ANR, whatever the reference
	Price          station.Price // of energy
	CO2            float64       // kg per J of energy
	Hours          []PricedHours // with another price
}

// PricedHours are hours with a price of their own.
type PricedHours struct {
	Shift
	Price station.Price
}

// Tariff is in force from the first minute of a day of the site on.
type Tariff struct {
	From station.Instant
	Rates
}

// Costs returns the tariffs as the program keeps them, nil where the site has none.
func (s *Site) Costs() *cost.Tariffs {
	t := &cost.Tariffs{Zone: s.Zone}
	for _, x := range append([]Tariff{{cost.Always, s.Air.Rates}}, s.Air.Tariffs...) {
		t.List = append(t.List, x.costs())
	}
	if len(t.List) == 1 && t.List[0].Rates == (cost.Rates{}) {
		return nil
	}
	return t
}

func (t *Tariff) costs() cost.Tariff {
	out := cost.Tariff{From: t.From, Rates: cost.RatesOf(t.SpecificEnergy, t.Price, t.CO2)}
	for _, h := range t.Hours {
		out.Hours = append(out.Hours, cost.Hours{Days: h.Days, From: int(h.From / time.Minute), To: int(h.To / time.Minute),
			Price: cost.RatesOf(0, h.Price, 0).Price})
	}
	return out
}

// forPlates sets what plates carry: the price of air from the first, and its changes.
func (a *Air) forPlates() {
	var steps []station.AirPriceStep
	for i := range a.Tariffs {
		steps = append(steps, station.AirPriceStep{From: a.Tariffs[i].From, AirPrice: a.Tariffs[i].airPrice()})
	}
	a.first, a.changes = a.Rates.airPrice(), station.AirPriceText(steps)
}

// airPrice returns the price of air that is drawn around the clock.
func (r *Rates) airPrice() station.AirPrice {
	p := r.Price
	if len(r.Hours) > 0 {
		t := Tariff{Rates: *r}
		mean := t.costs()
		p.PerJoule = mean.MeanPrice() / 3.6e6
	}
	return station.PriceOfAir(r.SpecificEnergy, p)
}

// air reads how a site states and pays its air. A volume of air in the file is meant at
// the site's reference; what we keep is per m³ ANR.
func (d *decoder) air(m *mapping, s *Site) {
	a := &s.Air
	if i, ok := m.choice("reference", station.ANR.String(), station.Normal.String()); ok && i == 1 {
		a.Reference = station.Normal
	}
	m.rates(a.Reference, &a.Rates)
	last := Tariff{cost.Always, a.Rates}
	seen := 0
	m.each("tariffs", "tariffs: ["+tariffExample+"]", func(n *yaml.Node, path string) {
		if seen++; seen > mostTariffs {
			return
		}
		if item := d.item(n, path, "a tariff", tariffExample); item != nil {
			if t, ok := item.tariff(s, last); ok {
				a.Tariffs, last = append(a.Tariffs, t), t
			}
		}
	})
	if seen > mostTariffs {
		m.fail("tariffs", fmt.Sprintf("holds %d tariffs", seen), fmt.Sprintf("at most %d", mostTariffs), "")
	}
	a.forPlates()
	m.done(map[string]string{"from": "dated prices belong under tariffs"})
}

// tariff reads one that follows another: what it does not name stays as it was.
func (m *mapping) tariff(s *Site, last Tariff) (Tariff, bool) {
	var day string
	m.date("from", &day)
	t := Tariff{Rates: last.Rates}
	switch {
	case !m.has("specific_energy") && !m.has("price") && !m.has("co2") && !m.has("hours"):
		m.d.fail(m.pos, m.path, "changes nothing", "specific_energy, price, hours or co2", tariffExample)
	default:
		m.rates(s.Air.Reference, &t.Rates)
	}
	if !m.has("from") {
		m.fail("from", "is missing", "the day from which the tariff is in force, by the site's calendar", "from: 2027-01-01")
	}
	m.done(map[string]string{"to": "a tariff is in force until the next one's from", "until": "a tariff is in force until the next one's from"})
	date, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return t, false
	}
	if date.Year() < firstYear || date.Year() > lastYear {
		m.fail("from", quote(day)+" is out of range", fmt.Sprintf("a day of the years %d to %d", firstYear, lastYear), "from: 2027-01-01")
		return t, false
	}
	t.From = cost.DayBegins(s.Zone, date.Year(), date.Month(), date.Day())
	switch {
	case t.From == last.From:
		m.fail("from", "is the same day as that of the tariff before: they overlap", "one tariff for a day", "")
		return t, false
	case t.From < last.From:
		m.fail("from", "is earlier than the tariff before it", "tariffs in order of their days", "")
		return t, false
	}
	return t, true
}

// rates reads what is paid. A price that is named stands without the hours of an earlier one.
func (m *mapping) rates(ref station.Reference, r *Rates) {
	if quantity(m, "specific_energy", station.ParseSpecificEnergy, atMost(36e6, "10 kWh/m3"), &r.SpecificEnergy) {
		r.SpecificEnergy *= ref.PerANR()
	}
	if m.price(&r.Price) {
		r.Hours = nil
	}
	quantity(m, "co2", station.ParseEmission, free(10/3.6e6, "10 kg/kWh"), &r.CO2)
	if !m.has("hours") {
		m.get("hours")
		return
	}
	if r.Price.Currency == "" {
		m.fail("hours", "is given without price", "the price at other times beside it", "price: "+examples["price"])
	}
	r.Hours = nil
	var week occupied
	m.each("hours", "hours: ["+hoursExample+"]", func(n *yaml.Node, path string) {
		if item := m.d.item(n, path, "hours with a price of their own", hoursExample); item != nil {
			item.hours(r, &week)
		}
	})
}

// price reads a price of energy.
func (m *mapping) price(into *station.Price) bool {
	p, ok := parsed(m, "price", station.ParsePrice)
	if ok && p.PerKWh() > cost.MostPrice {
		m.failValue("price", quote(m.entries["price"].text())+" is out of range", fmt.Sprintf("at most %.0f a kWh", cost.MostPrice), examples["price"])
		return false
	}
	if ok {
		*into = p
	}
	return ok
}

// hours reads one span of the day with a price of its own.
func (m *mapping) hours(r *Rates, week *occupied) {
	var h PricedHours
	priced := m.price(&h.Price)
	if !m.has("price") {
		m.fail("price", "is missing", "the price in these hours", "price: "+examples["price"])
	}
	shift, ok := m.d.shift(m)
	if !ok || !priced {
		return
	}
	h.Shift = shift
	switch {
	case r.Price.Currency != "" && h.Price.Currency != r.Price.Currency:
		m.fail("price", "is in "+h.Price.Currency+", and the price at other times in "+r.Price.Currency, "one currency for a tariff", "")
	case len(r.Hours) >= mostHours:
		m.fail("days", fmt.Sprintf("is more than the %d spans that a tariff may have", mostHours), "", "")
	case !week.take(&shift):
		m.fail("days", "overlaps hours that stand before it", "hours that do not overlap", "")
	default:
		r.Hours = append(r.Hours, h)
	}
}

// occupied are the minutes of the week that hours of a tariff cover.
type occupied [7 * 1440]bool

// take marks the minutes of a span, unless one of them is marked already.
func (o *occupied) take(s *Shift) bool {
	h := cost.Hours{Days: s.Days, From: int(s.From / time.Minute), To: int(s.To / time.Minute)}
	next := *o
	for m := range next {
		if h.Contain(time.Weekday(m/1440), m%1440) {
			if next[m] {
				return false
			}
			next[m] = true
		}
	}
	*o = next
	return true
}
