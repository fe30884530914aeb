package config

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// dated has every key of tariffs.
const dated = `version: 1
mqtt: { broker: tcp://127.0.0.1:1883, topics: [{ match: "boost/{site}/{station}/{channel}" }] }
sites:
  - id: northdock
    zone: Europe/Lisbon
    air:
      specific_energy: 0.12 kWh/m3
      price: 0.18 EUR/kWh
      co2: 0.30 kg/kWh
      tariffs:
        - { from: 2026-03-29, price: 0.20 EUR/kWh, hours: [{ days: mon-sun, from: "22:00", to: "06:00", price: 0.08 EUR/kWh }] }
        - { from: 2026-07-01, co2: 0.25 kg/kWh }
        - { from: 2027-01-01, price: 190 CHF/MWh, specific_energy: 0.11 kWh/m3 }
stations:
  - id: press-4
`

func at(t *testing.T, clock string) station.Instant {
	t.Helper()
	x, err := time.Parse(time.RFC3339, clock)
	if err != nil {
		t.Fatal(err)
	}
	return station.InstantOf(x)
}

// What a tariff does not name stays as it was; a price that is named stands without the hours before it. A day begins at
// the site's midnight: 29 March 2026 at 00:00 UTC, 1 July at 23:00 UTC of the day before (IANA time zone database).
func TestTariffs(t *testing.T) {
	c, err := Parse([]byte(dated), "plant.yaml", live)
	if err != nil {
		t.Fatal(err)
	}
	costs := c.Sites[0].Costs()
	for clock, want := range map[string]cost.Rates{
		"2026-03-28T23:59:00Z": {Energy: 432e6, Price: 180e6, Currency: "EUR", Carbon: 300e6},
		"2026-03-29T00:00:00Z": {Energy: 432e6, Price: 80e6, Currency: "EUR", Carbon: 300e6}, // 00:00
		"2026-03-29T04:59:00Z": {Energy: 432e6, Price: 80e6, Currency: "EUR", Carbon: 300e6}, // 05:59, the clock is ahead
		"2026-03-29T05:00:00Z": {Energy: 432e6, Price: 200e6, Currency: "EUR", Carbon: 300e6},
		"2026-06-30T22:59:00Z": {Energy: 432e6, Price: 80e6, Currency: "EUR", Carbon: 300e6},
		"2026-06-30T23:00:00Z": {Energy: 432e6, Price: 80e6, Currency: "EUR", Carbon: 250e6},
		"2027-01-01T00:00:00Z": {Energy: 396e6, Price: 190e6, Currency: "CHF", Carbon: 250e6},
	} {
		if got := costs.At(at(t, clock)); got != want {
			t.Errorf("%s: %+v, want %+v", clock, got, want)
		}
	}
	// the plate's prices: around the clock, 8 of 24 hours at the low price
	p := &c.Stations[0].Plate
	steps, err := station.ReadAirPrices(p.AirPrices)
	if err != nil || len(steps) != 3 || p.AirPrice.Currency != "EUR" || !near(p.AirPrice.PerCubicMetre, 0.12*0.18) {
		t.Fatalf("%+v, %q, %v", p.AirPrice, p.AirPrices, err)
	}
	for clock, want := range map[string]float64{"2026-03-28T23:59:00Z": 0.12 * 0.18, "2026-03-29T00:00:00Z": 0.12 * (0.2*16 + 0.08*8) / 24,
		"2026-12-31T23:59:59Z": 0.12 * (0.2*16 + 0.08*8) / 24, "2027-01-01T00:00:00Z": 0.11 * 0.19} {
		if got := station.AirPriceAt(p.AirPrice, steps, at(t, clock)); math.Abs(got.PerCubicMetre/want-1) > 1e-9 {
			t.Errorf("%s: %+v, want %g", clock, got, want)
		}
	}
	if again := station.AirPriceText(steps); again != p.AirPrices {
		t.Errorf("%q, was %q", again, p.AirPrices)
	}
}

// The form of one price means what it meant: same plate, same revision, no text of changes.
func TestASinglePriceIsStillOne(t *testing.T) {
	text := dated[:strings.Index(dated, "      tariffs:")] + "stations:\n  - id: press-4\n"
	c, err := Parse([]byte(text), "plant.yaml", live)
	if err != nil {
		t.Fatal(err)
	}
	p := c.Stations[0].Plate
	if p.AirPrice != station.PriceOfAir(0.12*3.6e6, station.Price{PerJoule: 0.18 / 3.6e6, Currency: "EUR"}) || p.AirPrices != "" {
		t.Errorf("%+v, %q", p.AirPrice, p.AirPrices)
	}
	want := &cost.Tariffs{Zone: c.Sites[0].Zone, List: []cost.Tariff{{From: cost.Always, Rates: cost.Rates{Energy: 432e6, Price: 180e6, Currency: "EUR", Carbon: 300e6}}}}
	if got := c.Sites[0].Costs(); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v", got)
	}
	if c, err = Parse([]byte("version: 1\nstations: [{ id: p }]\n"), "x.yaml", Options{NoBroker: true}); err != nil || c.Sites[0].Costs() != nil {
		t.Errorf("a site without prices: %v", err)
	}
}

func TestTooManyTariffs(t *testing.T) {
	var b strings.Builder
	b.WriteString(dated[:strings.Index(dated, "        - { from: 2026-03-29")])
	day := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range mostTariffs + 1 {
		b.WriteString("        - { from: " + day.AddDate(0, 0, i).Format(time.DateOnly) + ", price: 0.2 EUR/kWh }\n")
	}
	b.WriteString("stations:\n  - id: press-4\n")
	if _, err := Parse([]byte(b.String()), "x.yaml", live); err == nil || !strings.Contains(err.Error(), "holds 1001 tariffs; expected at most 1000") {
		t.Errorf("%v", err)
	}
}
