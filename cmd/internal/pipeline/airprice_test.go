package pipeline_test

import (
	"fmt"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// leakUnit is what says the unit of a leak's yearly cost.
func leakUnit(a *rules.Transition) string {
	for _, e := range a.Evidence {
		if e.Name == "leak_cost_year" {
			return e.Unit
		}
	}
	return ""
}

// A tariff that is dated takes effect in alarms at its date, in one plate of one revision. Source of the expectation: the
// leak's alarm is raised between the two dates that are tried.
func TestTheAlarmQuotesThePriceInForceWhenItIsRaised(t *testing.T) {
	for currency, after := range map[string]int64{"CHF": 60, "EUR": 3 * 3600} {
		s := virtual(t, "clamp-3", rig.Fault{Kind: rig.OutletLeak, Level: 2.3e-9})
		s.Plate.AirPrice = station.AirPrice{PerCubicMetre: 0.0216, Currency: "EUR"}
		s.Plate.AirPrices = station.AirPriceText([]station.AirPriceStep{{From: rigStart.Add(after * station.Second), AirPrice: station.AirPrice{PerCubicMetre: 0.0432, Currency: "CHF"}}})
		st := watch(s)
		var a *rules.Transition
		for n := 0; a == nil && n < 60; n++ {
			st.run(60)
			a = firstRaise(st.unit.Out.Transitions, rules.OutletLeak)
		}
		if a == nil || a.At < rigStart.Add(120*station.Second) {
			t.Fatalf("the leak is raised at %+v", a)
		}
		if got := leakUnit(a); got != currency {
			t.Errorf("a price from %d s on: the alarm is in %q, want %s: %s", after, got, currency, a.Message)
		}
	}
}

// Another price is a config epoch, and disturbs nothing that was learned: minutes, states, alarms and figures are those
// of a twin without it.
func TestAnotherPriceDisturbsNothing(t *testing.T) {
	s := virtual(t, "clamp-3", rig.Fault{Kind: rig.OutletLeak, Level: 2.3e-9})
	s.Plate.AirPrice = station.AirPrice{PerCubicMetre: 0.0216, Currency: "EUR"}
	twin, changed := watch(s), watch(s)
	twin.run(1200)
	changed.run(600)
	p := s.Plate
	p.AirPrice.PerCubicMetre, p.AirPrices = 0.05, "1 0.06 EUR"
	changed.unit.Epoch(&station.Epoch{Revision: "other", Plate: p}, changed.now)
	changed.run(600)
	want, got := concludedBy(twin.unit), concludedBy(changed.unit)
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("got  %.300s\nwant %.300s", got[i], want[i])
		}
	}
}

// concludedBy returns what a unit concluded, as text, without what alarms say of money.
func concludedBy(u *pipeline.Unit) []string {
	out := []string{fmt.Sprintf("%+v", u.Out.Minutes), fmt.Sprintf("%+v", u.Out.Intervals), fmt.Sprintf("%+v", u.Status.Estimates)}
	for _, x := range u.Out.Transitions {
		out = append(out, fmt.Sprint(x.Alarm, x.From, x.To, x.At, x.Raised))
	}
	return append(out, fmt.Sprint(len(u.Out.Transitions)))
}
