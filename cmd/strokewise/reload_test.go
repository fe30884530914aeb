package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// A running program takes a whole configuration at SIGHUP and by POST: stations as they are, anything else by
// beginning anew. It refuses a faulty one as a whole, and goes back from one that cannot begin.
func TestReloadOnHangup(t *testing.T) {
	broker := peers.Mosquitto(t)
	data := t.TempDir()
	listen, prefix, site := fmt.Sprintf("127.0.0.1:%d", peers.Port(t)), "boost", "northdock"
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
	file := write(t, "c.yaml", text("20 L", "", listen))
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
		if err := pub.Publish(ctx, prefix+"/"+site+"/"+station, []byte(b)); err != nil {
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

	put(text("35 L", "  - id: press-5\n    site: northdock\n", listen))
	hangup("stations reloaded")
	send("press-4")
	send("press-5")
	c.await("the new station", "/", func(b string) bool { return strings.Contains(b, "press-5") })
	c.await("the new tank", "/station/northdock/press-4", func(b string) bool { return strings.Contains(b, "35 L") })

	put(text("35 bananas", "", listen))
	hangup("the old one stays in force")
	put(text("35 L", "  - id: x\n    site: nowhere\n", listen))
	hangup("the old one stays in force")
	c.await("both stations still", "/", func(b string) bool { return strings.Contains(b, "press-5") })

	put(text("35 L", "", listen))
	hangup("stations reloaded")
	c.await("one station fewer", "/", func(b string) bool { return !strings.Contains(b, "press-5") })

	put("version: 1\ndata: " + data + "\n")
	hangup("names no station, and 1 are watched")

	// topics, a site and a station of it: the runtime begins anew, and goes on with what it had
	more := strings.Replace(text("35 L", "  - id: weld-1\n    site: southdock\n", listen), "sites: [", "sites: [{ id: southdock }, ", 1)
	put(strings.Replace(more, `boost/{site}/{station}`, `plant/{site}/{station}`, 1))
	code, answer := post(t, c)
	if code != http.StatusOK || !strings.Contains(answer, `"outcome":"done"`) || !strings.Contains(answer, `"anew":["mqtt","sites"]`) {
		t.Errorf("%d %s", code, answer)
	}
	c.await("the other configuration", "/metrics", func(b string) bool {
		v, _ := metric(b, `strokewise_config_reloads_total{outcome="taken"}`)
		return v == 4 // the start, two lists of stations, this one
	})
	c.ready() // subscribed anew
	prefix = "plant"
	site = "southdock"
	send("weld-1")
	c.await("the station of the new site", "/station/southdock/weld-1", func(b string) bool { return strings.Contains(b, "900") })
	c.await("the old station", "/station/northdock/press-4", func(b string) bool { return strings.Contains(b, "35 L") })

	// what cannot begin is gone back from, and says so
	put(text("36 L", "", broker.Addr))
	hangup("cannot be put in force")
	c.await("the configuration before", "/station/southdock/weld-1", func(b string) bool { return strings.Contains(b, "900") })
	body := c.await("figures", "/metrics", func(b string) bool { return strings.Contains(b, "strokewise_config_reload_success 0") })
	if v, ok := metric(body, `strokewise_config_reloads_total{outcome="refused"}`); !ok || v != 4 {
		t.Errorf("%g readings are refused, want 4", v)
	}
	put(text("20 bananas", "", listen))
	if code, answer = post(t, c); code != http.StatusConflict || !strings.Contains(answer, "bananas") || !strings.Contains(answer, "stations[0].tank.volume") {
		t.Errorf("%d %s", code, answer)
	}
	c.await("the part that says so", "/program", func(b string) bool { return strings.Contains(b, "bananas") })
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d", code)
	}
}

// post has the configuration read again.
func post(t *testing.T, c *child) (int, string) {
	t.Helper()
	res, err := http.Post("http://"+c.addr+"/reload", "", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(b)
}
