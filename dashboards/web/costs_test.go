package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
)

// used gives the same sum for every station but one, which has none.
type used struct{ err error }

func (u used) Used(_ context.Context, k station.Key, _, _ station.Instant) (cost.Sum, error) {
	if k.Station == "weld-2" {
		return cost.Sum{}, u.err
	}
	l := station.MicrolitresOf
	return cost.Sum{Inlet: l(1000e3), InletLow: l(900e3), InletHigh: l(1100e3), Exhaust: l(520e3), Delivered: l(480e3), Leak: l(48e3), LeakNs: 1, Minutes: 600, Airless: 3,
		Account: cost.Account{{Currency: "EUR", Minutes: 597, Inlet: l(1000e3), Energy: 432e9, Money: 21_600_000, CarbonMinutes: 597, Carbon: 36e9}}}, u.err
}

func costly(err error) Options {
	o := everything()
	o.Hours = used{err}
	o.Tariffs = map[string]*cost.Tariffs{"northdock": {Zone: time.UTC, List: []cost.Tariff{{From: cost.Always, Rates: cost.Rates{Energy: 432e6, Price: 18e7, Currency: "EUR", Carbon: 3e8}}}}}
	return o
}

// 1000 m³ at 0.12 kWh/m³ and 0.18 EUR/kWh: 21.60 EUR, of it 52 % drive air; a tenth of what
// is delivered leaks, which takes a tenth of what is drawn.
func TestCosts(t *testing.T) {
	w := get(New(costly(nil)), "/costs?days=30")
	body := strings.Join(strings.Fields(w.Body.String()), " ")
	for _, want := range []string{"1000 (900 to 1100)", "120.0", "21.60 EUR", "11.23 EUR", "2.16 EUR", "36.0", "2000 (1800 to 2200)", "43.20 EUR",
		"air unknown in 3 of 600 minutes", "nothing stored in this time", "specific energy of this site&#39;s air is not known", "drive air"} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q", want)
		}
	}
	if w.Code != http.StatusOK {
		t.Error(w.Code)
	}
	if w := get(New(costly(nil)), "/costs?days=12"); w.Code != http.StatusBadRequest || !strings.Contains(w.Body.String(), "expected one of") {
		t.Errorf("status %d, %s", w.Code, w.Body)
	}
	if w := get(New(costly(errors.New("locked"))), "/costs"); w.Code != http.StatusServiceUnavailable {
		t.Errorf("status %d", w.Code)
	}
	if w := get(New(everything()), "/costs"); w.Code != http.StatusOK {
		t.Errorf("without a history: status %d", w.Code)
	}
}

// What is stored is shown, whatever the tariff is now: an hour of each currency, minutes from before prices were stored,
// and a site whose rates were taken out.
func TestStoredCostsAreShownAsTheyWere(t *testing.T) {
	at := station.Instant(1782856800 * station.Second) // 2026-07-01 in Zurich, by the IANA time zone database
	zone, err := time.LoadLocation("Europe/Zurich")
	if err != nil {
		t.Fatal(err)
	}
	tariffs := map[string]*cost.Tariffs{"northdock": {Zone: zone, List: []cost.Tariff{
		{From: cost.Always, Rates: cost.Rates{Energy: 432e6, Price: 18e7, Currency: "EUR"}}, {From: at, Rates: cost.Rates{Energy: 432e6, Price: 2e8, Currency: "CHF", Carbon: 1e8}}}}}
	all := everything().Board.Configured()
	l := station.MicrolitresOf
	sum := cost.Sum{Inlet: l(3000e3), Exhaust: l(1500e3), Minutes: 90, Airless: 2, Account: cost.Account{
		{Currency: "", Minutes: 5}, {Currency: "CHF", Minutes: 30, Inlet: l(1000e3), Money: 24_000_000, CarbonMinutes: 30, Carbon: 12e9}, {Currency: "EUR", Minutes: 30, Inlet: l(1000e3), Money: 21_600_000}}}
	sums := map[station.Key]cost.Sum{}
	for i := range all {
		sums[all[i].Plate.Key] = sum
	}
	v := costsOf(all, sums, tariffs, at.Add(-station.Minute60), at.Add(station.Minute60))
	for _, s := range v.Sites {
		row := s.Rows[1]
		if row.Money != "24.00 CHF and 21.60 EUR" || row.Drive != "12.00 CHF and 10.80 EUR" || row.CO2 != "12.0" {
			t.Errorf("%s: %+v", s.Name, row)
		}
		// 1000 m³ without a price, at 0.12 kWh/m³ and 0.20 CHF/kWh: 24 CHF
		note := "air unknown in 2 of 90 minutes: at least; 28 of 90 minutes have no stored price"
		if s.Name == "northdock" {
			note += ": at today's tariff about 24.00 CHF more"
			if len(s.Changes) != 1 || s.Changes[0] != "Until 2026-07-01 00:00: 0.120 kWh per m³ ANR; 0.180 EUR per kWh." {
				t.Errorf("%q", s.Changes)
			}
		}
		if row.Note != note+"; CO₂ in 30 of 90 minutes" {
			t.Errorf("%s: %q", s.Name, row.Note)
		}
	}
	if c := costsOf(all, sums, tariffs, at, at.Add(1)).Sites[0].Changes; len(c) != 0 {
		t.Errorf("%q", c)
	}
}
