package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// inbox is a webhook that keeps what it got.
type inbox struct {
	mu  sync.Mutex
	got []event
}

type event struct {
	ID   string `json:"id"`
	Type string `json:"type"`
	Data struct {
		Station, Alarm, To, Message, Caution string
		Evidence                             []struct {
			Name  string
			Value float64
		}
	} `json:"data"`
}

func (i *inbox) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	var e event
	b, _ := io.ReadAll(r.Body)
	if json.Unmarshal(b, &e) == nil {
		i.mu.Lock()
		i.got = append(i.got, e)
		i.mu.Unlock()
	}
}

// raised gives how often each alarm of a station was raised, by station/alarm.
func (i *inbox) raised() map[string]int {
	i.mu.Lock()
	defer i.mu.Unlock()
	m := map[string]int{}
	for _, e := range i.got {
		if e.Type == "strokewise.alarm.raised" {
			m[e.Data.Station+"/"+e.Data.Alarm]++
		}
	}
	return m
}

// A real Mosquitto between mosquitto_pub and the program carries scalar, block and SenML
// payloads to /metrics and the page; promtool's linter passes; a real Prometheus scrapes.
func TestFromMosquittoPubToMetricsPageAndPrometheus(t *testing.T) {
	broker := peers.Mosquitto(t)
	pub := peers.Find(t, "mosquitto_pub")
	promtool := peers.Find(t, "promtool")
	c := start(t, "run", "--config", configOf(t, broker.Addr, t.TempDir(), ""))
	c.ready()
	host, port, _ := strings.Cut(broker.Addr, ":")
	send := func(topic, payload string) {
		t.Helper()
		out, err := exec.Command(pub, "-h", host, "-p", port, "-q", "1", "-t", "boost/northdock/"+topic, "-m", payload).CombinedOutput()
		if err != nil {
			t.Fatalf("mosquitto_pub: %v: %s", err, out)
		}
	}
	// three stations in three payloads, at their own pressures, until all are seen
	pressures := map[string]string{"press-4": "614000", "press-5": "523000", "clamp-2": "431000"}
	missing := func(body string) string {
		for s, p := range pressures {
			if v, ok := metric(body, `strokewise_inlet_pressure_pascals{basis="gauge",branch="`+branch(s)+`",site="northdock",station="`+s+`"}`); !ok || fmt.Sprintf("%.0f", v) != p {
				return s
			}
		}
		return ""
	}
	var body string
	for until := time.Now().Add(patience); ; {
		now := float64(time.Now().UnixMicro()) / 1e6
		send("press-4/inlet_pressure", "614.0")
		send("press-5/inlet_pressure", fmt.Sprintf(`{"t0":%.6f,"dt":0.1,"v":[523,523,523]}`, now))
		send("clamp-2/inlet_pressure", fmt.Sprintf(`[{"bn":"urn:dev:clamp-2:","bt":%.6f,"bu":"Pa","n":"inlet_pressure","v":431000}]`, now))
		if _, body = c.get("/metrics"); missing(body) == "" {
			break
		}
		if time.Now().After(until) {
			t.Fatalf("no inlet pressure of %s:\n%s\n%s", missing(body), body, c.said())
		}
		time.Sleep(200 * time.Millisecond)
	}
	if n, _ := metric(body, "strokewise_messages_total"); n < 9 {
		t.Errorf("%g messages", n)
	}
	cmd := exec.Command(promtool, "check", "metrics")
	cmd.Stdin = strings.NewReader(body)
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool check metrics: %v: %s", err, out)
	}
	page := c.await("the page", "/", func(string) bool { return true })
	for s, p := range pressures {
		if kpa := p[:3]; !strings.Contains(page, s) || !strings.Contains(page, kpa) {
			t.Errorf("the page does not show %s at %s kPa", s, kpa)
		}
	}
	prom := peers.Prometheus(t, c.addr)
	query(t, prom.Addr, `up{job="strokewise"}`, "1")
	query(t, prom.Addr, `count(strokewise_inlet_pressure_pascals)`, "3")
}

func branch(st string) string {
	return map[string]string{"press": "forming", "clamp": "clamping", "bench": "testing"}[st[:5]]
}

// query waits until Prometheus answers a query with the value.
func query(t *testing.T, addr, q, want string) {
	t.Helper()
	var last string
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(200 * time.Millisecond) {
		res, err := http.Get("http://" + addr + "/api/v1/query?query=" + strings.NewReplacer("{", "%7B", "}", "%7D", `"`, "%22").Replace(q))
		if err != nil {
			last = err.Error()
			continue
		}
		var a struct {
			Data struct {
				Result []struct{ Value [2]any }
			}
		}
		err = json.NewDecoder(res.Body).Decode(&a)
		res.Body.Close()
		last = fmt.Sprint(a, err)
		if err == nil && len(a.Data.Result) == 1 && a.Data.Result[0].Value[1] == want {
			return
		}
	}
	t.Fatalf("Prometheus does not answer %s with %s: %s", q, want, last)
}

// The recordings played through Mosquitto: the webhook receives each labelled fault once
// and nothing else, with evidence and caution; a silent sensor's alarm follows.
func TestAlarmsReachTheWebhook(t *testing.T) {
	broker := peers.Mosquitto(t)
	var in inbox
	hook := httptest.NewServer(&in)
	defer hook.Close()
	cfg := configOf(t, broker.Addr, t.TempDir(), "notify: { webhook: { name: phone, url: \""+hook.URL+"\" } }\n")
	c := start(t, "run", "--config", cfg)
	c.ready()
	playAll(t, broker.Addr, time.Now().Add(-20*time.Minute), 0)
	want := map[string]int{"clamp-2/supply-undersized": 1, "clamp-2/outlet-low": 1, "clamp-3/outlet-leak": 1, "bench-1/pressure-left": 1}
	c.await("four alarms", "/metrics", func(string) bool {
		got := in.raised()
		for k := range want {
			if got[k] == 0 {
				return false
			}
		}
		return true
	})
	c.await("an empty outbox", "/metrics", func(b string) bool {
		n, ok := metric(b, `strokewise_outbox_pending{receiver="phone"}`)
		return ok && n == 0
	})
	if got := in.raised(); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("raised %v, want %v", got, want)
	}
	in.mu.Lock()
	for _, e := range in.got {
		if e.Data.Caution == "" || e.Data.Message == "" || len(e.Data.Evidence) == 0 {
			t.Errorf("event without message, evidence or caution: %+v", e)
		}
	}
	in.mu.Unlock()
	if _, page := c.get("/"); !strings.Contains(page, "pressure-left") || !strings.Contains(page, "not isolation") {
		t.Error("the page does not show the alarm with its caution")
	}
	body := c.await("metrics", "/metrics", func(string) bool { return true })
	if v, ok := metric(body, `strokewise_alarm_active{alarm="pressure-left",branch="testing",priority="high",site="northdock",station="bench-1"}`); !ok || v != 1 {
		t.Errorf("the alarm is not in the metrics: %g %v", v, ok)
	}
}

// Ctrl-C ends a run cleanly, and the next one goes on where it was.
func TestInterruptAndGoOn(t *testing.T) {
	broker := peers.Mosquitto(t)
	cfg := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", cfg)
	c.ready()
	playAll(t, broker.Addr, time.Now().Add(-20*time.Minute), 0)
	const name = `strokewise_strokes_total{branch="forming",site="northdock",station="press-5"}`
	settled := func(b string) bool { n, _ := metric(b, name); return n >= 290 }
	before, _ := metric(c.await("strokes", "/metrics", settled), name)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	c = start(t, "run", "--config", cfg)
	c.ready()
	if after, _ := metric(c.await("strokes", "/metrics", settled), name); after != before {
		t.Errorf("%g strokes before, %g after", before, after)
	}
}

func TestASecondInstanceOnTheSameDataRefusesToStart(t *testing.T) {
	broker := peers.Mosquitto(t)
	cfg := configOf(t, broker.Addr, t.TempDir(), "")
	start(t, "run", "--config", cfg).ready()
	cmd := exec.Command(selfPath(), "run", "--config", cfg)
	cmd.Env = append(cmd.Environ(), childEnv+"=1")
	out, err := cmd.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "another process uses it") {
		t.Errorf("%v: %s", err, out)
	}
}
