package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// generator sends the blocks of many stations, rendered beforehand: only the time is
// written anew each second.
type generator struct {
	pub      *mqtt.Publisher
	topics   []string
	payloads [][]byte
}

// clockAt is where the time stands in a payload: {"t0":1767225600.000,...
const clockAt = len(`{"t0":`)

// newGenerator renders n stations: two channels at 100 Hz, a second a message.
func newGenerator(b *testing.B, addr string, n int) *generator {
	b.Helper()
	pub, err := mqtt.NewPublisher(b.Context(), "tcp://"+addr, "load")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(pub.Close)
	g := &generator{pub: pub}
	in, out := make([]string, 100), make([]string, 100)
	for i := range in {
		in[i], out[i] = fmt.Sprintf("%.1f", 600-float64(i%50)*0.3), fmt.Sprintf("%.1f", 880+float64(i%50)*0.1)
	}
	text := fmt.Sprintf(`{"t0":0000000000.000,"dt":0.01,"inlet_pressure":[%s],"outlet_pressure":[%s]}`, strings.Join(in, ","), strings.Join(out, ","))
	for i := range n {
		g.topics = append(g.topics, fmt.Sprintf("boost/northdock/station-%d", i))
		g.payloads = append(g.payloads, []byte(text))
	}
	return g
}

// second sends a second of all stations and waits until the broker has it.
func (g *generator) second(b *testing.B, at time.Time) {
	b.Helper()
	stamp := fmt.Appendf(nil, "%d.000", at.Unix())
	tokens := make([]paho.Token, len(g.topics))
	for i, t := range g.topics {
		p := bytes.Clone(g.payloads[i])
		copy(p[clockAt:], stamp)
		tokens[i] = g.pub.Send(t, p)
	}
	for _, t := range tokens {
		if !t.WaitTimeout(30*time.Second) || t.Error() != nil {
			b.Fatal("the broker does not take the load: ", t.Error())
		}
	}
}

// manyStations writes a configuration of n stations alike, with more lines and that tank.
func manyStations(b *testing.B, addr string, n int, more, tank string) string {
	b.Helper()
	var y strings.Builder
	fmt.Fprintf(&y, "version: 1\nhttp: { listen: \"127.0.0.1:0\" }\nmqtt: { broker: \"tcp://%s\", topics: [{ match: \"boost/{site}/{station}\" }] }\n%sdata: %s\nsites: [{ id: northdock, zone: Europe/Lisbon }]\nstations:\n", addr, more, b.TempDir())
	for i := range n {
		fmt.Fprintf(&y, "  - { id: station-%d, site: northdock, booster: { drive_bore: 63 mm, boost_bore: 63 mm, rod: 16 mm, stroke: 60 mm, set_pressure: 900 kPa }, tank: { %s } }\n", i, tank)
	}
	return write(b, "c.yaml", y.String())
}

// BenchmarkPlant runs 2,000 stations of two channels at 100 Hz through a real Mosquitto for
// half a minute at the pace of the clock: what the program's process costs, and how far
// behind it is at the end.
func BenchmarkPlant(b *testing.B) {
	const stations, seconds = 2000, 30
	for b.Loop() {
		broker := peers.Mosquitto(b)
		c := start(b, "run", "--config", manyStations(b, broker.Addr, stations, "", "volume: 20 L"))
		c.ready()
		g := newGenerator(b, broker.Addr, stations)
		tick := time.NewTicker(time.Second)
		began := c.processor(b)
		for range seconds {
			<-tick.C
			g.second(b, time.Now().Add(-time.Second))
		}
		last := time.Now()
		c.await("all of it", "/metrics", func(body string) bool {
			v, ok := metric(body, "strokewise_samples_total")
			return ok && v >= stations*seconds*200
		})
		behind := time.Since(last).Seconds()
		tick.Stop()
		samples := float64(stations * seconds * 200)
		b.ReportMetric((c.processor(b)-began)/samples*1e6, "cpu-s/Msample")
		b.ReportMetric((c.processor(b)-began)/seconds*100, "%cpu")
		b.ReportMetric(c.resident(b)/(1<<20), "MiB")
		b.ReportMetric(behind, "s-behind")
		c.kill()
	}
}

// processor gives the processor time of the program so far, s.
func (c *child) processor(b *testing.B) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", c.cmd.Process.Pid))
	if err != nil {
		b.Skip("needs /proc: ", err)
	}
	f := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:]))
	var user, system float64
	fmt.Sscan(f[11], &user)
	fmt.Sscan(f[12], &system)
	return (user + system) / 100 // clock ticks are 10 ms on Linux
}

// resident gives the program's memory, bytes.
func (c *child) resident(b *testing.B) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", c.cmd.Process.Pid))
	if err != nil {
		b.Skip("needs /proc: ", err)
	}
	var size, pages float64
	fmt.Sscan(string(text), &size, &pages)
	return pages * float64(os.Getpagesize())
}
