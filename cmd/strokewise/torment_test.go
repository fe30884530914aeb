package main

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"strokewise/collector/mqtt"
	"strokewise/deploy/peers"
)

// tormentEnv is how many minutes the torment lasts.
const tormentEnv = "STROKEWISE_TORMENT"

// span is how far back the readings of the torment begin: no further than messages are accepted.
const span = 46 * time.Hour

// tormentRounds is how many times the recordings come at most; between two lies an hour of silence.
const tormentRounds = 35

// An hour in which everything happens at once, at random, while the recordings come again and again
// after silences: kill -9, processes that are stopped for seconds, floods of messages that are no samples, a log
// so small that it drops evidence all the time. Minutes, states, transitions, costs and exported totals are those of
// an undisturbed twin, and memory stays flat.
func TestTorment(t *testing.T) {
	torture(t)
	minutes := 60.0
	if s := os.Getenv(tormentEnv); s != "" {
		var err error
		if minutes, err = strconv.ParseFloat(s, 64); err != nil || minutes <= 0 {
			t.Fatalf("%s is %q, expected minutes", tormentEnv, s)
		}
	}
	began := time.Now().Add(-span).Truncate(time.Minute).Add(30 * time.Second)
	at := func(round int) time.Time {
		return began.Add(time.Duration(round) * span / tormentRounds).Truncate(time.Minute).Add(30 * time.Second)
	}

	data, broker := t.TempDir(), peers.Mosquitto(t)
	h := &hell{t: t, cfg: small(t, broker.Addr, data), broker: broker.Addr, seen: map[string]int{}}
	h.c = start(t, "run", "--config", h.cfg)
	h.c.ready()
	end := time.Now().Add(time.Duration(minutes * float64(time.Minute)))
	rounds := 0
	for ; rounds < tormentRounds && (rounds < 2 || time.Now().Before(end)); rounds++ {
		h.round(at(rounds), time.Until(end)/time.Duration(tormentRounds-rounds))
	}
	h.c.ready()
	settled(h.c, broker.Addr)
	got := totals(h.c)
	if code := h.c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, h.c.said())
	}
	after := stored(t, data)

	calm, other := t.TempDir(), peers.Mosquitto(t)
	c := start(t, "run", "--config", withAir(t, configOf(t, other.Addr, calm, ""), dayAndNight))
	c.ready()
	for round := range rounds {
		playAll(t, other.Addr, at(round), 0)
	}
	settled(c, other.Addr)
	exported := totals(c)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	for st, want := range stored(t, calm) {
		compare(t, "undisturbed run", st, want, after[st])
	}
	for series, v := range exported {
		if got[series] != v {
			t.Errorf("%s is %q, undisturbed %q", series, got[series], v)
		}
	}
	t.Logf("%d rounds in %.0f min: %v; resident at most %v MiB a round, %d series equal", rounds, minutes, h.seen, h.resident, len(exported))
	if n := len(h.resident); n >= 6 {
		first, last := h.resident[n/3], h.resident[n-1]
		if last > first+first/4+16 {
			t.Errorf("resident memory grows: %d MiB after a third of the rounds, %d MiB at the end", first, last)
		}
	}
	if h.seen["kill"] == 0 || h.seen["flood"] == 0 || h.seen["stop"] == 0 {
		t.Errorf("not all events came: %v", h.seen)
	}
}

// small returns a configuration whose log holds a part of a round.
func small(t *testing.T, broker, data string) string {
	path := withAir(t, configOf(t, broker, data, ""), dayAndNight)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const usual = "max_bytes: 1 GB"
	if !bytes.Contains(text, []byte(usual)) {
		t.Fatal("the configuration has another bound of the log")
	}
	out := filepath.Join(t.TempDir(), "small.yaml")
	if err := os.WriteFile(out, []byte(strings.Replace(string(text), usual, "max_bytes: 17 MB", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	return out
}

// hell is a program to which things happen.
type hell struct {
	t        *testing.T
	c        *child
	cfg      string
	broker   string
	seen     map[string]int // events
	resident []int          // MiB, at the end of each round
}

// round plays the recordings from a time on, about so long, while things happen.
func (h *hell) round(from time.Time, about time.Duration) {
	const messages = 1000 // of a round, about
	pace := max(0, min(about/messages, 200*time.Millisecond))
	played := make(chan struct{})
	go func() {
		defer close(played)
		playAll(h.t, h.broker, from, pace)
	}()
	for {
		select {
		case <-played:
			h.resident = append(h.resident, procStatus(h.t, h.c.cmd.Process.Pid, "VmRSS")/1024)
			return
		case <-time.After(time.Duration(rand.IntN(4000)) * time.Millisecond):
			h.event()
		}
	}
}

// event lets one of the things happen.
func (h *hell) event() {
	switch rand.IntN(4) {
	case 0, 1:
		h.seen["kill"]++
		h.c.kill()
		h.c = start(h.t, "run", "--config", h.cfg)
	case 2:
		h.seen["stop"]++
		_ = h.c.cmd.Process.Signal(syscall.SIGSTOP)
		time.Sleep(time.Duration(rand.IntN(3000)) * time.Millisecond)
		_ = h.c.cmd.Process.Signal(syscall.SIGCONT)
	case 3:
		h.seen["flood"]++
		h.flood()
	}
}

// flood publishes what is no sample: topics of nobody, and payloads that cannot be read.
func (h *hell) flood() {
	ctx, cancel := context.WithTimeout(h.t.Context(), patience)
	defer cancel()
	p, err := mqtt.NewPublisher(ctx, "tcp://"+h.broker, fmt.Sprintf("flood-%d", h.seen["flood"]))
	if err != nil {
		h.t.Error(err)
		return
	}
	defer p.Close()
	for i := range 500 {
		topic := fmt.Sprintf("boost/nowhere/x-%d/inlet_pressure", i%50)
		if err := p.Publish(ctx, topic, fmt.Appendf(nil, "{%d: no JSON", i)); err != nil {
			h.t.Error(err)
			return
		}
	}
}
