package app

import (
	"crypto/tls"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/dashboards/board"
	"strokewise/deploy/peers"
	"strokewise/rules"
	"strokewise/rules/notify"
)

// The whole way: recordings to a real Mosquitto, pressure left in the shutdown one; a real
// Alertmanager has the alert with its labels, the broker keeps the light, the dead man's
// watch is called, /metrics tells of all; at the end the lights say unknown.
func TestPeopleAreReached(t *testing.T) {
	t.Parallel() // it waits more than it works
	mq, am := peers.Mosquitto(t), peers.Alertmanager(t, 300)
	var calls atomic.Int64
	watch := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { calls.Add(1) }))
	defer watch.Close()
	o := plant(t, mq.Addr)
	o.Reach = Reach{
		Alertmanagers: []*notify.Alertmanager{{Name: "am", URL: "http://" + am.Addr, Every: time.Second}},
		Mails:         []*notify.Mail{{Name: "shift", Server: "127.0.0.1:1", From: "a@b.example", To: []string{"c@d.example"}, TLS: &tls.Config{}}},
		Panels:        []Panel{{Name: "lights", Prefix: "lights"}},
		Routes: &notify.Routes{Routes: []notify.Route{
			{Priorities: []rules.Priority{rules.High}, Receivers: []string{"am", "shift"}},
			{Priorities: []rules.Priority{rules.Medium, rules.Low, rules.Finding}, Receivers: []string{"am"}},
		}},
		DeadMan: &notify.DeadMan{URL: watch.URL, Every: 50 * time.Millisecond},
	}
	a, stop := running(t, o)
	stopped := false
	defer func() {
		if !stopped {
			stop()
		}
	}()
	play(t, mq.Addr, minuteBegun(), time.Millisecond)
	var left []rules.Transition
	reached(t, "an open alarm", func() bool {
		left = left[:0]
		open, _ := a.openAlarms()
		for _, x := range open {
			if x.Alarm == rules.PressureLeft && x.To.Active() {
				left = append(left, x)
			}
		}
		return len(left) > 0
	})
	k := left[0].Key
	reached(t, "the alert at Alertmanager", func() bool {
		for _, x := range alertsAt(t, am.Addr) {
			if x.Labels["alertname"] == rules.PressureLeft && x.Labels["station"] == k.Station && x.Labels["site"] == k.Site && x.Labels["priority"] == "high" {
				return x.Generator == "http://"+a.Addr()+"/station/"+k.Site+"/"+k.Station
			}
		}
		return false
	})
	lights := a.lights("lights")
	if len(lights) != len(o.Stations) || lights[notify.PanelTopic("lights", k.Site, k.Station)] != "high" {
		t.Errorf("%v", lights)
	}
	reached(t, "figures", func() bool {
		p := a.Pipeline()
		return p.Delivered["am"] > 0 && p.Delivered["lights"] > int64(len(lights)) && p.Delivered[notify.DeadManName] > 0 &&
			p.OutboxPending["shift"] > 0 && p.OutboxAge["shift"] > 0 && p.DeliverFailed["shift"] > 0 && p.Withheld["shift"] > 0 && p.Withheld["am"] == 0 && p.OutboxPending["am"] == 0
	})
	res, err := http.Get("http://" + a.Addr() + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(res.Body)
	res.Body.Close()
	for _, want := range []string{`notifications_delivered_total{receiver="dead-man"}`, `notifications_delivered_total{receiver="lights"}`, `outbox_oldest_age_seconds{receiver="shift"}`,
		`strokewise_alarm_to_delivery_seconds_count{receiver="am"}`, "\nstrokewise_sample_to_commit_seconds_count ", `strokewise_last_sample_timestamp_seconds{`} {
		if !strings.Contains(string(body), want) {
			t.Errorf("no %s in /metrics", want)
		}
	}
	if strings.Contains(string(body), `alarm_to_delivery_seconds_count{receiver="shift"}`) || strings.Contains(string(body), "\nstrokewise_sample_to_commit_seconds_count 0\n") {
		t.Error("a delivery is timed that never was, or no commit is")
	}
	if body := fetch(t, a, "/metrics"); !strings.Contains(body, `strokewise_http_request_duration_seconds_count{code="200"}`) {
		t.Error("no request is timed")
	}
	stop()
	stopped = true
	n := calls.Load()
	time.Sleep(150 * time.Millisecond)
	if n == 0 || calls.Load() != n {
		t.Errorf("%d calls, %d after the end", n, calls.Load()-n)
	}
}

func reached(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatal("waited in vain for: " + what)
}

type alertAt struct {
	Labels    map[string]string
	Generator string `json:"generatorURL"`
}

func alertsAt(t *testing.T, addr string) (out []alertAt) {
	t.Helper()
	res, err := http.Get("http://" + addr + "/api/v2/alerts")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	if err := json.NewDecoder(res.Body).Decode(&out); err != nil {
		t.Fatal(err)
	}
	return out
}

// Without a broker nothing is known, whatever the board has.
func TestLightsAreUnknownWhileNotAllWorks(t *testing.T) {
	o := options(t, "127.0.0.1:1", "press-4")
	a, err := New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	a.board.Put(board.Station{Plate: o.Stations[0].Plate, Status: station.Status{At: 1}})
	a.board.SetReady(true)
	topic := notify.PanelTopic("p", playback.Site, "press-4")
	if got := a.lights("p"); len(got) != 1 || got[topic] != "unknown" {
		t.Errorf("%v", got)
	}
}
