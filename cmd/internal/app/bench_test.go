package app

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

// queued is how many messages wait at the broker for each measurement.
const queued = 60_000

// BenchmarkEndToEnd gives messages a second at QoS 1 that a real Mosquitto's queue is
// drained with: from the broker to the committed minutes, in blocks of 100 samples; and a
// bare default paho subscriber with an empty handler beside it.
func BenchmarkEndToEnd(b *testing.B) {
	stations := make([]string, 20)
	for i := range stations {
		stations[i] = fmt.Sprintf("station-%d", i)
	}
	b.Run("strokewise", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			m := peers.Mosquitto(b)
			o := options(b, m.Addr, stations...)
			_, stop := running(b, o) // makes the session
			stop()
			fill(b, m.Addr, stations)
			b.StartTimer()
			a, stop := running(b, o)
			for a.batch.Figures().Samples < queued*100 || !a.settledFor(b) {
				time.Sleep(time.Millisecond)
			}
			b.StopTimer()
			stop()
			m.Kill()
			b.StartTimer()
		}
		b.ReportMetric(float64(b.N)*queued/b.Elapsed().Seconds(), "msg/s")
	})
	b.Run("bare-paho", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			m := peers.Mosquitto(b)
			var n atomic.Int64
			connect := func() paho.Client {
				c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + m.Addr).SetClientID("bare").SetCleanSession(false).
					SetDefaultPublishHandler(func(paho.Client, paho.Message) { n.Add(1) }))
				if t := c.Connect(); !t.WaitTimeout(10*time.Second) || t.Error() != nil {
					b.Fatal(t.Error())
				}
				return c
			}
			c := connect()
			c.Subscribe("boost/#", 1, nil).Wait()
			c.Disconnect(100)
			fill(b, m.Addr, stations)
			b.StartTimer()
			c = connect()
			for n.Load() < queued {
				time.Sleep(time.Millisecond)
			}
			b.StopTimer()
			c.Disconnect(100)
			m.Kill()
			b.StartTimer()
		}
		b.ReportMetric(float64(b.N)*queued/b.Elapsed().Seconds(), "msg/s")
	})
}

// settledFor tells whether everything appended is committed.
func (a *App) settledFor(b *testing.B) bool {
	for n, p := range a.parts {
		last, _, err := a.samples.Last(b.Context(), n)
		if err != nil {
			b.Fatal(err)
		}
		p.mu.Lock()
		ok := p.committed >= last
		p.mu.Unlock()
		if !ok {
			return false
		}
	}
	return true
}

// fill puts messages into the broker's queue: a block of a hundred samples of each
// station's two pressures in turn.
func fill(b *testing.B, addr string, stations []string) {
	b.Helper()
	p, err := mqtt.NewPublisher(b.Context(), "tcp://"+addr, "sensors")
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	v := make([]string, 100)
	for i := range v {
		v[i] = fmt.Sprintf("%.1f", 600+float64(i%17))
	}
	values := strings.Join(v, ",")
	t0 := time.Now().Add(-2 * time.Hour).Unix()
	channels := []station.Channel{station.InletPressure, station.OutletPressure}
	var tokens []paho.Token
	for i := range queued {
		second := i / (2 * len(stations))
		topic := "boost/" + playback.Site + "/" + stations[i/2%len(stations)] + "/" + channels[i%2].String()
		tokens = append(tokens, p.Send(topic, fmt.Appendf(nil, `{"t0":%d,"dt":0.01,"v":[%s]}`, t0+int64(second), values)))
	}
	for _, t := range tokens {
		if !t.WaitTimeout(time.Minute) || t.Error() != nil {
			b.Fatal(t.Error())
		}
	}
}
