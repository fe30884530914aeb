package main

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// Reanalysis refuses while the program runs, and tells of every station afterwards.
func TestReanalyse(t *testing.T) {
	broker := peers.Mosquitto(t)
	cfg := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", cfg)
	c.ready()
	if code, _, errOut := call("reanalyse", "--config", cfg); code != exitFault || !strings.Contains(errOut, "stop the program") {
		t.Errorf("while it runs: code %d, %s", code, errOut)
	}
	if code := c.interrupt(); code != 0 {
		t.Fatal(c.said())
	}
	code, out, errOut := call("reanalyse", "--config", cfg, "--write")
	if code != 0 || !strings.Contains(out, "northdock/press-4") || !strings.Contains(out, "nothing differs") {
		t.Errorf("code %d, %s%s", code, out, errOut)
	}
	if code, _, errOut := call("reanalyse", "--config", cfg, "--station", "nowhere"); code != exitFault || !strings.Contains(errOut, "cannot find station") {
		t.Errorf("code %d, %s", code, errOut)
	}
}

// A minute that is replaced is valued at the tariff in force when it started, not at today's: a cubic metre at 0.12 kWh
// and 0.18 EUR is 0.0216 EUR, and from 2026 on 0.10 EUR a kWh are 0.012.
func TestReplacedMinutesArePricedByTheirTime(t *testing.T) {
	cfg, err := config.Parse([]byte(`version: 1
sites: [{ id: northdock, air: { specific_energy: 0.12 kWh/m3, price: 0.18 EUR/kWh, tariffs: [{ from: 2026-01-01, price: 0.10 EUR/kWh }] } }]
stations: [{ id: press-4 }]
`), "x.yaml", config.Options{NoBroker: true})
	if err != nil {
		t.Fatal(err)
	}
	const newYear = station.Instant(1767225600 * station.Second)
	changed := func(at station.Instant) history.Changed {
		return history.Changed{Is: station.Minute{Start: at, Inlet: 1e9}}
	}
	r := []reanalyse.Result{{Key: station.Key{Site: "northdock", Station: "press-4"}, Changed: []history.Changed{changed(newYear - 1), changed(newYear)}}}
	reprice(cfg, r)
	if a, b := r[0].Changed[0].Charge, r[0].Changed[1].Charge; a.Money != 21_600 || b.Money != 12_000 || a.Currency != "EUR" {
		t.Errorf("%+v and %+v", a, b)
	}
}
