package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// resident gives the memory, kB, that a process has at most held (VmHWM).
func resident(t *testing.T, pid int) int {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Skipf("memory cannot be measured here: %v", err)
	}
	for _, l := range strings.Split(string(b), "\n") {
		var kb int
		if _, err := fmt.Sscanf(l, "VmHWM: %d kB", &kb); err == nil {
			return kb
		}
	}
	t.Fatal("no VmHWM")
	return 0
}

// Everything that a plant's network can send wrong, through a real Mosquitto: each is
// counted under its own reason, none stops the rest, and memory stays bounded.
func TestBadInputIsCountedAndStopsNothing(t *testing.T) {
	broker := peers.Mosquitto(t)
	pubBin := peers.Find(t, "mosquitto_pub")
	host, port, _ := strings.Cut(broker.Addr, ":")
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	pub, err := mqtt.NewPublisher(ctx, "tcp://"+broker.Addr, "odd")
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	send := func(topic, payload string) {
		t.Helper()
		if err := pub.Publish(ctx, topic, []byte(payload)); err != nil {
			t.Fatal(err)
		}
	}
	const inlet = "boost/northdock/press-4/inlet_pressure"
	retain := exec.Command(pubBin, "-h", host, "-p", port, "-q", "1", "-r", "-t", inlet, "-m", "612")
	if out, err := retain.CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
	cfg := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", cfg)
	c.ready()
	refused := func(reason string) string { return `strokewise_payloads_refused_total{reason="` + reason + `"}` }
	wait := func(reason string, n float64) {
		t.Helper()
		c.await(reason, "/metrics", func(b string) bool { v, _ := metric(b, refused(reason)); return v == n })
	}
	wait("retained-scalar", 1)
	before := resident(t, c.cmd.Process.Pid)

	now := time.Now().Unix()
	block := func(t0 int64, v string) string { return fmt.Sprintf(`{"t0":%d,"dt":0.01,"v":[%s]}`, t0, v) }
	send("boost/northdock/press-4/inlet_pressure/raw", "1") // no filter of ours: never seen
	send("boost/northdock/press-4/voltage", "1")
	send("boost/northdock", "1") // the same
	send(inlet, block(now, "612")[:20])
	send(inlet, block(now, "NaN"))
	send(inlet, block(0, "612"))
	send(inlet, block(7258118400, "612"))
	send(inlet, block(now, "1e9"))
	for i := range 1000 {
		send(fmt.Sprintf("boost/northdock/ghost-%d/inlet_pressure", i), block(now, "612"))
	}
	// a counter that goes back is no bad message, but it is noticed
	for i, n := range []int{5000, 5001, 5002, 7, 8} {
		send("boost/northdock/press-4/cycles", block(now-10+int64(i), fmt.Sprint(n)))
	}
	huge := filepath.Join(t.TempDir(), "huge")
	f, err := os.Create(huge)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(200 << 20); err != nil {
		t.Fatal(err)
	}
	f.Close()
	if out, err := exec.Command(pubBin, "-h", host, "-p", port, "-q", "1", "-t", inlet, "-f", huge).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
	for reason, n := range map[string]float64{"unknown-channel": 1, "not-json": 1, "not-finite": 1, "time-too-old": 1,
		"time-ahead": 1, "implausible-pressure": 1, "unknown-station": 1000, "too-large": 1} {
		wait(reason, n)
	}
	// the rest goes on: the healthy station's samples are analysed
	c.await("the pressure of a healthy station", "/metrics", func(b string) bool {
		at := float64(time.Now().UnixMicro()) / 1e6
		send("boost/northdock/press-5/inlet_pressure", fmt.Sprintf(`{"t0":%.6f,"dt":0.1,"v":[523,523]}`, at))
		v, ok := metric(b, `strokewise_inlet_pressure_pascals{basis="gauge",branch="forming",site="northdock",station="press-5"}`)
		return ok && v == 523000
	})
	send("boost/northdock/press-4/cycles", block(time.Now().Unix(), "9"))
	c.await("the counter's reset", "/metrics", func(b string) bool {
		v, _ := metric(b, `strokewise_count_oddities_total{branch="forming",kind="reset",site="northdock",station="press-4"}`)
		return v == 1
	})
	after := resident(t, c.cmd.Process.Pid)
	t.Logf("resident memory at most: %d MiB before the bad input, %d MiB after it (a 200 MiB packet was among it)", before>>10, after>>10)
	if after-before > 64<<10 {
		t.Errorf("memory grew by %d kB", after-before)
	}
	if _, page := c.get("/refused"); !strings.Contains(page, "too-large") || !strings.Contains(page, "ghost-999") {
		t.Error("the refused payloads are not shown")
	}
	backlog(t, c, cfg, send, wait)
}

// backlog: plain numbers that waited in the broker's queue while we were away have no
// known time and are refused; blocks with times of their own are taken.
func backlog(t *testing.T, c *child, cfg string, send func(topic, payload string), _ func(string, float64)) {
	t.Helper()
	c.kill()
	for i := range 50 {
		send("boost/northdock/press-4/outlet_pressure", fmt.Sprint(900+i))
	}
	send("boost/northdock/press-4/outlet_pressure", fmt.Sprintf(`{"t0":%d,"dt":0.01,"v":[931]}`, time.Now().Unix()))
	d := start(t, "run", "--config", cfg)
	d.ready()
	body := d.await("the backlog", "/metrics", func(b string) bool {
		v, _ := metric(b, `strokewise_payloads_refused_total{reason="stale-backlog"}`)
		return v == 50
	})
	if v, _ := metric(body, `strokewise_messages_total`); v < 51 {
		t.Errorf("%g messages", v)
	}
}
