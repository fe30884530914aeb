package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

// dayAndNight is a section air with hours of another price.
const dayAndNight = `, air: { specific_energy: 0.12 kWh/m3, price: 0.18 EUR/kWh, co2: 0.3 kg/kWh,
    hours: [{ days: sun-sat, from: "12:00", to: "24:00", price: 0.11 EUR/kWh }] }`

// withAir writes a configuration with another section air of its site.
func withAir(t *testing.T, cfg, air string) string {
	t.Helper()
	text, err := os.ReadFile(cfg)
	if err != nil {
		t.Fatal(err)
	}
	const zone = "zone: " + playback.Zone
	out := strings.Replace(string(text), zone, zone+air, 1)
	if out == string(text) && air != "" {
		t.Fatalf("no %q in %s", zone, text)
	}
	return write(t, filepath.Base(cfg), out)
}

// The price is halved in the configuration, then doubled, then taken out, with a start each time: what was counted
// stays. A counter that falls is taken for a reset by whoever scrapes it, and what is left of it is counted again.
func TestAnotherPriceChangesNoCounter(t *testing.T) {
	broker := peers.Mosquitto(t)
	data := t.TempDir()
	cfg := configOf(t, broker.Addr, data, "")
	cost := func(body string) float64 {
		v, _ := metric(body, `strokewise_air_cost_total{branch="`+branch("press-4")+`",currency="EUR",site="northdock",station="press-4"}`)
		return v
	}
	was := 0.0
	for i, air := range []string{", air: { specific_energy: 0.12 kWh/m3, price: 0.18 EUR/kWh }", ", air: { specific_energy: 0.12 kWh/m3, price: 0.09 EUR/kWh }",
		", air: { specific_energy: 0.24 kWh/m3, price: 0.36 EUR/kWh }", ""} {
		c := start(t, "run", "--config", withAir(t, cfg, air))
		c.ready()
		_, body := c.get("/metrics")
		if i > 0 && cost(body) != was {
			t.Fatalf("start %d: the counter is %g, and was %g", i, cost(body), was)
		}
		if i == 0 {
			playAll(t, broker.Addr, time.Now().Add(-20*time.Minute), 0)
			settled(c, broker.Addr)
			if _, body = c.get("/metrics"); cost(body) <= 0 {
				t.Fatal("nothing was counted")
			}
		}
		was = cost(body)
		if code := c.interrupt(); code != 0 {
			t.Fatal(c.said())
		}
	}
}
