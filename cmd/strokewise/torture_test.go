package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// tortureEnv turns the long tests on; make torture sets it.
const tortureEnv = "STROKEWISE_TORTURE"

// soakEnv is how many minutes the soak lasts.
const soakEnv = "STROKEWISE_SOAK"

func torture(t *testing.T) {
	t.Helper()
	if os.Getenv(tortureEnv) != "1" {
		t.Skip("long: make torture")
	}
}

// Two hundred kill -9 at random moments, ten rounds of twenty: minutes, litres, strokes,
// states, transitions and exported totals are those of an undisturbed run.
func TestTwoHundredKills(t *testing.T) {
	torture(t)
	hit := 0
	for round := range 10 {
		t.Run(fmt.Sprint(round), func(t *testing.T) { hit += killed(t, 20) })
	}
	t.Logf("%d of 200 kills while messages were delivered", hit)
}

// killed compares a run that is killed n times with an undisturbed one, and gives how many
// kills hit the delivery. The start is killed too: the program is often not yet ready.
func killed(t *testing.T, n int) (during int) {
	from := time.Now().Add(-20 * time.Minute).Truncate(time.Minute).Add(30 * time.Second)
	calm := t.TempDir()
	broker := peers.Mosquitto(t)
	c := start(t, "run", "--config", configOf(t, broker.Addr, calm, ""))
	c.ready()
	playAll(t, broker.Addr, from, 0)
	settled(c, broker.Addr)
	exported := totals(c)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	want := stored(t, calm)

	data, other := t.TempDir(), peers.Mosquitto(t)
	cfg := configOf(t, other.Addr, data, "")
	c = start(t, "run", "--config", cfg)
	c.ready() // the session exists from now on
	played := make(chan struct{})
	go func() {
		defer close(played)
		playAll(t, other.Addr, from, 20*time.Millisecond)
	}()
	for range n {
		time.Sleep(time.Duration(rand.IntN(900)) * time.Millisecond)
		c.kill()
		select {
		case <-played:
		default:
			during++
		}
		c = start(t, "run", "--config", cfg)
	}
	<-played
	c.ready()
	settled(c, other.Addr)
	got := totals(c)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	after := stored(t, data)
	for st := range want {
		compare(t, "undisturbed run", st, want[st], after[st])
	}
	for series, v := range exported {
		if got[series] != v {
			t.Errorf("%s is %q, undisturbed %q", series, got[series], v)
		}
	}
	if len(exported) < 50 {
		t.Errorf("only %d series compared", len(exported))
	}
	return during
}

// committed are the families of totals that must not depend on what happened to us.
var committed = []string{"strokewise_strokes_total", "strokewise_state_seconds_total", "strokewise_inlet_air_cubic_meters_total",
	"strokewise_exhaust_air_cubic_meters_total", "strokewise_delivered_air_cubic_meters_total", "strokewise_alarm_active"}

// totals gives the exported committed series.
func totals(c *child) map[string]string {
	out := map[string]string{}
	body := c.await("metrics", "/metrics", func(string) bool { return true })
	for _, l := range strings.Split(body, "\n") {
		for _, f := range committed {
			if i := strings.LastIndexByte(l, ' '); i > 0 && strings.HasPrefix(l, f) {
				out[l[:i]] = l[i+1:]
			}
		}
	}
	return out
}

// procStatus gives a number of a process's /proc status, such as VmRSS in kB.
func procStatus(t *testing.T, pid int, name string) int {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(string(b), "\n") {
		if rest, ok := strings.CutPrefix(l, name+":"); ok {
			n, err := strconv.Atoi(strings.Fields(rest)[0])
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Fatalf("no %s", name)
	return 0
}

// soakStations is the size of the soak's plant, with ten samples a second of two pressures
// and a counter each, in blocks of a second.
const soakStations = 500

func soakConfig(t *testing.T, broker, data string) string {
	t.Helper()
	var b strings.Builder
	fmt.Fprintf(&b, `version: 1
http: { listen: "127.0.0.1:0" }
mqtt:
  broker: tcp://%s
  client_id: strokewise-soak
  topics: [{ match: "boost/{site}/{station}" }]
data: %s
log: { keep: 1 min, max_bytes: 1 GB }
sites: [{ id: soak, zone: UTC }]
stations:
`, broker, data)
	for i := range soakStations {
		fmt.Fprintf(&b, "  - { id: s-%d, booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa }, tank: { volume: 20 L } }\n", i)
	}
	return write(t, "soak.yaml", b.String())
}

// soakBlock gives a second of a station that strokes twice a second.
func soakBlock(station int, at int64) []byte {
	var p1, p2 strings.Builder
	for k := range 10 {
		if k > 0 {
			p1.WriteByte(',')
			p2.WriteByte(',')
		}
		phase := (k + station) % 5
		fmt.Fprintf(&p1, "%d.%d", 600-6*phase, (int(at)+k)%10)
		fmt.Fprintf(&p2, "%d.%d", 940+2*phase, (int(at)+station)%10)
	}
	c := fmt.Sprint(at % 1_000_000)
	return fmt.Appendf(nil, `{"t0":%d,"dt":0.1,"inlet_pressure":[%s],"outlet_pressure":[%s],"cycles":[%s,%s,%s,%s,%s,%s,%s,%s,%s,%s]}`,
		at, p1.String(), p2.String(), c, c, c, c, c, c, c, c, c, c)
}

// A plant of 500 stations for half an hour (STROKEWISE_SOAK minutes): resident memory and
// goroutines are flat after the first third, and nothing is late.
func TestSoak(t *testing.T) {
	torture(t)
	minutes := 30.0
	if s := os.Getenv(soakEnv); s != "" {
		var err error
		if minutes, err = strconv.ParseFloat(s, 64); err != nil || minutes <= 0 {
			t.Fatalf("%s is %q, expected minutes", soakEnv, s)
		}
	}
	broker := peers.Mosquitto(t)
	c := start(t, "run", "--config", soakConfig(t, broker.Addr, t.TempDir()))
	c.ready()
	ctx, cancel := context.WithTimeout(t.Context(), time.Duration(minutes*float64(time.Minute))+time.Minute)
	defer cancel()
	pub, err := mqtt.NewPublisher(ctx, "tcp://"+broker.Addr, "soak")
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	type sample struct{ kb, goroutines int }
	var seen []sample
	end := time.Now().Add(time.Duration(minutes * float64(time.Minute)))
	sent := 0
	for now := time.Now().Truncate(time.Second); now.Before(end); now = now.Add(time.Second) {
		time.Sleep(time.Until(now.Add(time.Second)))
		for i := range soakStations {
			tok := pub.Send(fmt.Sprintf("boost/soak/s-%d", i), soakBlock(i, now.Unix()))
			if sent++; i == soakStations-1 && (!tok.WaitTimeout(10*time.Second) || tok.Error() != nil) {
				t.Fatal("cannot publish: ", tok.Error())
			}
		}
		if now.Unix()%5 != 0 {
			continue
		}
		_, body := c.get("/metrics")
		g, ok := metric(body, "go_goroutines")
		if !ok {
			t.Fatal("no go_goroutines in /metrics")
		}
		seen = append(seen, sample{procStatus(t, c.cmd.Process.Pid, "VmRSS"), int(g)})
	}
	warm := seen[len(seen)/3:]
	half := len(warm) / 2
	mean := func(s []sample) (kb, g float64) {
		for _, x := range s {
			kb, g = kb+float64(x.kb)/float64(len(s)), g+float64(x.goroutines)/float64(len(s))
		}
		return kb, g
	}
	kb1, g1 := mean(warm[:half])
	kb2, g2 := mean(warm[half:])
	t.Logf("%d messages in %.1f min: resident %.1f MiB in the second third, %.1f MiB in the last; goroutines %.1f and %.1f", sent, minutes, kb1/1024, kb2/1024, g1, g2)
	if kb2 > kb1*1.10+8192 {
		t.Errorf("resident memory grows: %.0f kB, then %.0f kB", kb1, kb2)
	}
	if g2 > g1+5 {
		t.Errorf("goroutines grow: %.1f, then %.1f", g1, g2)
	}
	settled(c, broker.Addr)
	_, body := c.get("/metrics")
	if n, _ := metric(body, "strokewise_messages_total"); int(n) != sent {
		t.Errorf("%g messages of %d came in", n, sent)
	}
	for _, l := range strings.Split(body, "\n") {
		if v, ok := metric(l, "strokewise_samples_late_total"); ok && v > 0 {
			t.Errorf("late: %s", l)
		}
	}
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d", code)
	}
}
