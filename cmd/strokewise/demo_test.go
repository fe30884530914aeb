package main

import (
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/collector/rig"
)

// The demonstration comes up on a free port when its own is taken, shows figures of every
// station, takes orders for faults, ends cleanly, and goes on where it was.
func TestDemo(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	data := t.TempDir()
	args := []string{"demo", "--data", data, "--listen", taken.Addr().String()}
	began := time.Now()
	c := start(t, args...)
	c.await("the first page", "/", func(b string) bool { return strings.Contains(b, "press-4") })
	t.Logf("first page after %.1f s", time.Since(began).Seconds())
	if c.addr == taken.Addr().String() {
		t.Fatal("it took a port that is taken")
	}
	of := func(name, branch, site, station string) string {
		return name + `branch="` + branch + `",site="` + site + `",station="` + station + `"`
	}
	c.await("all stations", "/metrics", func(b string) bool {
		n := 0
		for _, l := range strings.Split(b, "\n") {
			if strings.HasPrefix(l, "strokewise_outlet_pressure_pascals{") {
				n++
			}
		}
		v, ok := metric(b, of("strokewise_stroke_rate_hertz{", "forming", "northdock", "press-4"))
		return n == 8 && ok && v > 0
	})
	if code, _, errOut := call("rig", "fault", "press-9", "shutdown", "--data", data); code != 0 {
		t.Fatal(errOut)
	}
	c.await("the fault that was caused", "/metrics", func(b string) bool {
		_, ok := metric(b, `strokewise_state_active{branch="forming",site="northdock",state="residual",station="press-9"}`)
		return ok
	})
	if code, _, errOut := call("rig", "fault", "press-9", "--mend", "--data", data); code != 0 {
		t.Fatal(errOut)
	}
	c.await("the fault's end", "/metrics", func(b string) bool {
		_, ok := metric(b, `strokewise_state_active{branch="forming",site="northdock",state="residual",station="press-9"}`)
		return !ok
	})
	body := c.await("metrics", "/metrics", func(string) bool { return true })
	for _, l := range strings.Split(body, "\n") {
		if strings.HasPrefix(l, "strokewise_payloads_refused_total") && !strings.HasSuffix(l, " 0") {
			t.Errorf("the demonstration's own messages are refused: %s", l)
		}
	}
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d: %s", code, c.said())
	}
	kept, err := rig.ReadKept(filepath.Join(data, "plant.json"))
	if err != nil {
		t.Fatal(err)
	}
	count := kept.Stations["northdock/press-4"].Count
	strokes, _ := metric(body, of("strokewise_strokes_total{", "forming", "northdock", "press-4"))
	c = start(t, args...)
	c.ready()
	body = c.await("metrics", "/metrics", func(string) bool { return true })
	if v, ok := metric(body, of("strokewise_strokes_total{", "forming", "northdock", "press-4")); !ok || v < strokes {
		t.Errorf("%g strokes after the start, %g before: it did not go on", v, strokes)
	}
	c.kill() // -9: the plant's state is kept every few seconds
	c = start(t, args...)
	c.ready()
	if code := c.interrupt(); code != 0 {
		t.Errorf("third run: exit code %d: %s", code, c.said())
	}
	again, err := rig.ReadKept(filepath.Join(data, "plant.json"))
	if err != nil {
		t.Fatal(err)
	}
	if n := again.Stations["northdock/press-4"].Count; n < count || again.Began != kept.Began {
		t.Errorf("the counter shows %d, showed %d; began %s, %s", n, count, again.Began, kept.Began)
	}
}
