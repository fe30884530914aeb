package main

import (
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// flood publishes blocks of 100 samples of the recordings' stations, floodRate
// a second, until stop is closed; it gives how many.
func flood(t testing.TB, addr string, stop <-chan struct{}) int {
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+addr, "flood")
	if err != nil {
		t.Error(err)
		return 0
	}
	defer p.Close()
	v := strings.TrimSuffix(strings.Repeat("612.4,611.9,", 50), ",")
	t0 := time.Now().Add(-46 * time.Hour).Unix()
	var window []paho.Token
	began := time.Now()
	for n := 0; ; n++ {
		if n%100 == 0 {
			time.Sleep(time.Until(began.Add(time.Duration(n) * time.Second / floodRate)))
		}
		select {
		case <-stop:
			for _, sent := range window {
				delivered(t, sent)
			}
			return n
		default:
		}
		topic := fmt.Sprintf("boost/northdock/press-%d/%s", 4+n%2, []string{"inlet_pressure", "outlet_pressure"}[n/2%2])
		window = append(window, p.Send(topic, fmt.Appendf(nil, `{"t0":%d,"dt":0.01,"v":[%s]}`, t0+int64(n/4), v)))
		if len(window) == 1000 {
			delivered(t, window[0])
			window = window[1:]
		}
	}
}

// delivered waits until the broker has a message: one that is still under way when its publisher
// closes is lost.
func delivered(t testing.TB, sent paho.Token) {
	if !sent.WaitTimeout(patience) || sent.Error() != nil {
		t.Errorf("a message did not reach the broker: %v", sent.Error())
	}
}

// SIGTERM under load ends the program cleanly, and what was not
// acknowledged comes in after the next start.
func TestStopUnderLoad(t *testing.T) {
	broker := peers.Mosquitto(t)
	cfg := configOf(t, broker.Addr, t.TempDir(), "")
	c := start(t, "run", "--config", cfg)
	c.ready()
	stop, sent := make(chan struct{}), make(chan int, 1)
	go func() { sent <- flood(t, broker.Addr, stop) }()
	var longest time.Duration
	var total float64
	for i := range 3 {
		c.await("load", "/metrics", func(b string) bool { n, _ := metric(b, "strokewise_samples_total"); return n > 2_000_000 })
		_, body := c.get("/metrics")
		n, _ := metric(body, "strokewise_messages_total")
		total += n
		began := time.Now()
		c.cmd.Process.Signal(syscall.SIGTERM)
		select {
		case <-c.done:
		case <-time.After(patience):
			t.Fatalf("does not end: %s", c.said())
		}
		took := time.Since(began)
		longest = max(longest, took)
		if code := c.cmd.ProcessState.ExitCode(); code != 0 {
			t.Fatalf("exit code %d: %s", code, c.said())
		}
		t.Logf("stopped after %s under load (%.0f messages before)", took.Round(time.Millisecond), n)
		if i < 2 {
			c = start(t, "run", "--config", cfg)
			c.ready()
		}
	}
	close(stop)
	n := <-sent
	t.Logf("the longest stop took %s", longest.Round(time.Millisecond))
	c = start(t, "run", "--config", cfg)
	c.ready()
	settled(c, broker.Addr)
	const minutes = `strokewise_state_seconds_total`
	body := c.await("the seconds of all that was sent", "/metrics", func(b string) bool {
		var s float64
		for _, l := range strings.Split(b, "\n") {
			if strings.HasPrefix(l, minutes) && strings.Contains(l, `station="press-4"`) {
				v, _ := metric(l, minutes)
				s += v
			}
		}
		return s >= float64(n/4/60-1)*60
	})
	// what was stored and not yet acknowledged came again, and was dropped
	if blind, _ := metric(body, `strokewise_state_seconds_total{branch="forming",site="northdock",state="blind",station="press-4"}`); blind > 0 {
		t.Errorf("%g s are missing", blind)
	}
	t.Logf("%d messages of 100 samples sent, all their minutes are there", n)
}
