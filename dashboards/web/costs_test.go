package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"

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
	return cost.Sum{Inlet: l(1000e3), InletLow: l(900e3), InletHigh: l(1100e3), Exhaust: l(520e3), Delivered: l(480e3), Leak: l(48e3), LeakNs: 1, Minutes: 600, Airless: 3}, u.err
}

func costly(err error) Options {
	o := everything()
	o.Hours = used{err}
	o.Rates = map[string]cost.Rates{"northdock": {SpecificEnergy: 0.12 * 3.6e6, Price: station.Price{PerJoule: 0.18 / 3.6e6, Currency: "EUR"}, CO2: 0.3 / 3.6e6}}
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
