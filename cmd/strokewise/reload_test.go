package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// A running program takes new stations and plate data at SIGHUP, refuses a faulty
// configuration as a whole, and says what needs a restart.
func TestReloadOnHangup(t *testing.T) {
	broker := peers.Mosquitto(t)
	data := t.TempDir()
	text := func(tank, extra, listen string) string {
		return fmt.Sprintf(`version: 1
http: { listen: "%s" }
mqtt: { broker: "tcp://%s", topics: [{ match: "boost/{site}/{station}" }] }
data: %s
sites: [{ id: northdock, zone: Europe/Lisbon }]
stations:
  - id: press-4
    site: northdock
    tank: { volume: %s }
%s`, listen, broker.Addr, data, tank, extra)
	}
	file := write(t, "c.yaml", text("20 L", "", "127.0.0.1:0"))
	put := func(s string) {
		if err := os.WriteFile(file, []byte(s), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	c := start(t, "run", "--config", file)
	c.ready()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	pub, err := mqtt.NewPublisher(ctx, "tcp://"+broker.Addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	send := func(station string) {
		b := fmt.Sprintf(`{"t0": %.1f, "dt": 0.5, "inlet_pressure": [600,600,600,600,600,600,600,600,600,600], "outlet_pressure": [900,900,900,900,900,900,900,900,900,900]}`,
			float64(time.Now().UnixMilli())/1e3-5)
		if err := pub.Publish(ctx, "boost/northdock/"+station, []byte(b)); err != nil {
			t.Fatal(err)
		}
	}
	hangup := func(says string) {
		t.Helper()
		had := strings.Count(c.said(), says)
		if err := c.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
		for until := time.Now().Add(patience); strings.Count(c.said(), says) == had; time.Sleep(20 * time.Millisecond) {
			if time.Now().After(until) {
				t.Fatalf("it does not say %q: %s", says, c.said())
			}
		}
	}
	energy := func(tank string) func(string) bool {
		return func(b string) bool { return strings.Contains(b, tank) }
	}
	send("press-4")
	c.await("the station", "/station/northdock/press-4", energy("20 L"))

	put(text("35 L", "  - id: press-5\n    site: northdock\n", "127.0.0.1:0"))
	hangup("stations reloaded")
	send("press-4")
	send("press-5")
	c.await("the new station", "/", func(b string) bool { return strings.Contains(b, "press-5") })
	c.await("the new tank", "/station/northdock/press-4", func(b string) bool { return strings.Contains(b, "35 L") })

	put(text("35 bananas", "", "127.0.0.1:0"))
	hangup("the old one stays in force")
	put(text("35 L", "  - id: x\n    site: nowhere\n", "127.0.0.1:0"))
	hangup("the old one stays in force")
	c.await("both stations still", "/", func(b string) bool { return strings.Contains(b, "press-5") })

	put(text("35 L", "", "127.0.0.1:8421"))
	hangup("take effect at the next start only")
	c.await("one station fewer", "/", func(b string) bool { return !strings.Contains(b, "press-5") })
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d", code)
	}
}
