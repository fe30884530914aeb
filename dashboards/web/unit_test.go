package web

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// Pages show pressures in the unit that the site reads, as its messages do. Source: 594 and 880 kPa
// are 5.94 and 8.80 bar, 86 and 128 psi (1 psi = 6.894757 kPa, NIST SP 811).
func TestPagesAreInTheUnitOfTheSite(t *testing.T) {
	for in, want := range map[station.Reading][]string{
		station.ReadBar: {"5.94", "8.80", "bar gauge", `data-unit="bar" data-per-kpa="0.01" data-places="2"`, "last seen at 8.80 bar gauge", "11.00"},
		station.ReadPSI: {"86", "128", "psi gauge", `data-unit="psi"`, "last seen at 128 psi gauge", "160"},
	} {
		var all string
		for _, s := range []board.Station{press(), shutDown(), quiet()} {
			s.Plate.Reading, s.Plate.Relief, s.Plate.Required = in, 1100e3, 700e3
			s.Alarms = nil
			h := New(fixture(s))
			for _, path := range []string{"/", "/after-shift", "/station/" + s.Plate.Key.Site + "/" + s.Plate.Key.Station} {
				b := get(h, path).Body.String()
				if main, _, _ := strings.Cut(b, "<footer>"); strings.Contains(main, "kPa") && !strings.Contains(main, "data-per-kpa") || strings.Contains(main, "kPa gauge") {
					t.Errorf("%s in %s has kPa:\n%s", path, in, main)
				}
				all += b
			}
		}
		for _, w := range want {
			if !strings.Contains(all, w) {
				t.Errorf("no %q in %s", w, in)
			}
		}
	}
}

// Who acknowledged or shelved an alarm, why and until when stands with it.
func TestAnAlarmShowsWhoAndWhy(t *testing.T) {
	tr := rules.Transition{Alarm: rules.OutletLeak, From: rules.Acknowledged, To: rules.Shelved, By: "Ada", Why: "hose ordered", ShelvedUntil: at(0)}
	v := alarm(&board.Alarm{State: rules.Shelved, Transition: tr})
	if v.State != "shelved by Ada until 2026-03-02 12:00:00 UTC" || v.Why != "Ada: hose ordered" {
		t.Errorf("%q, %q", v.State, v.Why)
	}
	tr.From, tr.To = rules.Unacknowledged, rules.Unacknowledged // a note
	if v = alarm(&board.Alarm{State: rules.Unacknowledged, Transition: tr}); v.State != "unacknowledged" {
		t.Errorf("%q", v.State)
	}
}
