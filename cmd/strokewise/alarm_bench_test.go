package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// heard notes when the webhook was told that an alarm of a station was raised.
type heard struct {
	mu  sync.Mutex
	got map[string]told // by station
}

// told is when an alarm was raised, by the stations' clock, and when the webhook had it.
type told struct{ raised, arrived time.Time }

// ServeHTTP takes an event.
func (h *heard) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	now := time.Now()
	var e struct {
		Data struct {
			Station, Alarm, To, Raised string
			Alarms                     []struct{ Station, To, Raised string } // of many, told together
		}
	}
	if json.NewDecoder(r.Body).Decode(&e) != nil || e.Data.Alarm != "over-pressure" {
		return
	}
	h.take(e.Data.Station, e.Data.To, e.Data.Raised, now)
	for _, x := range e.Data.Alarms {
		h.take(x.Station, x.To, x.Raised, now)
	}
}

func (h *heard) take(station, to, at string, now time.Time) {
	raised, err := time.Parse(time.RFC3339Nano, at)
	if err != nil || to != "unacknowledged" {
		return
	}
	h.mu.Lock()
	h.got[station] = told{raised, now}
	h.mu.Unlock()
}

// BenchmarkAlarm runs 1,000 stations of two channels at 20 Hz through a real Mosquitto at
// the pace of the clock, a block a second. Twenty of them a second go over the limit of
// their tank. It reports the time from the moment at which the block was sent whose last
// sample brings the watermark to the raise time until the webhook has the alarm.
func BenchmarkAlarm(b *testing.B) {
	const stations, calm, seconds, each, lateness = 1000, 10, 30, 20, 2 * time.Second
	const last = 950 * time.Millisecond // from a block's start to its last sample
	for b.Loop() {
		broker := peers.Mosquitto(b)
		in := heard{got: map[string]told{}}
		hook := httptest.NewServer(&in)
		more := fmt.Sprintf("lateness: 2 s\nnotify: { webhook: [{ name: crew, url: \"%s\" }] }\n", hook.URL)
		c := start(b, "run", "--config", manyStations(b, broker.Addr, stations, more, "volume: 20 L, ps: 1000 kPa"))
		c.ready()
		pub, err := mqtt.NewPublisher(b.Context(), "tcp://"+broker.Addr, "load")
		if err != nil {
			b.Fatal(err)
		}
		block := func(from, to float64) string { // a tank cannot step
			v := ""
			for k := range 20 {
				v += fmt.Sprintf("%.1f,", from+(to-from)*float64(k)/20)
			}
			v = strings.TrimSuffix(v, ",")
			return `{"t0":%d,"dt":0.05,"inlet_pressure":[` + strings.TrimSuffix(strings.Repeat("600.0,", 20), ",") + `],"outlet_pressure":[` + v + `]}`
		}
		const from, to, rise = 880.0, 1050.0, 5 // seconds
		normal, high := block(from, from), block(to, to)
		var rising [rise]string
		for k := range rise {
			rising[k] = block(from+(to-from)*float64(k)/rise, from+(to-from)*float64(k+1)/rise)
		}
		sent := make([]map[int64]time.Time, stations) // by the block's start
		tokens := make([]paho.Token, stations)
		for i := range sent {
			sent[i] = map[int64]time.Time{}
		}
		for second, now := 0, time.Now().Truncate(time.Second); second < calm+seconds+rise+8; second++ {
			time.Sleep(time.Until(now.Add(time.Duration(second+1) * time.Second)))
			at := now.Unix() + int64(second)
			for i := range stations {
				text := normal
				if n := second - calm - i/each; n >= 0 && i < seconds*each {
					text = high
					if n < rise {
						text = rising[n]
					}
				}
				sent[i][at] = time.Now()
				tokens[i] = pub.Send(fmt.Sprintf("boost/northdock/station-%d", i), fmt.Appendf(nil, text, at))
			}
		}
		for _, t := range tokens {
			t.WaitTimeout(10 * time.Second)
		}
		time.Sleep(2 * time.Second)
		in.mu.Lock()
		var took []time.Duration
		for name, g := range in.got {
			var i int
			fmt.Sscanf(name, "station-%d", &i)
			start := g.raised.Add(lateness - last) // of the block whose last sample is late enough
			at := start.Unix()
			if start.Nanosecond() > 0 {
				at++
			}
			if s, ok := sent[i][at]; ok {
				took = append(took, g.arrived.Sub(s))
			}
		}
		in.mu.Unlock()
		if len(took) != seconds*each {
			b.Errorf("%d alarms of %d reached the webhook: %s", len(took), seconds*each, c.said())
		}
		slices.Sort(took)
		if n := len(took); n > 0 {
			b.ReportMetric(took[n/2].Seconds()*1e3, "ms-median")
			b.ReportMetric(took[n*99/100].Seconds()*1e3, "ms-99%")
			b.Logf("%d alarms, %v to %v", n, took[0], took[n-1])
		}
		pub.Close()
		c.kill()
		hook.Close()
	}
}
