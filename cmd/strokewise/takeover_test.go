package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// arrivals counts the alarms' transitions that reached a webhook, by the id of their event.
type arrivals struct {
	mu      sync.Mutex
	times   map[string]int
	most    int // different ones that are taken, 0: all
	refused int
}

// ServeHTTP implements http.Handler.
func (r *arrivals) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	var e struct {
		ID   string
		Data struct{ Alarms []struct{ ID string } }
	}
	b, _ := io.ReadAll(q.Body)
	if err := json.Unmarshal(b, &e); err != nil {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.most > 0 && len(r.times)+max(1, len(e.Data.Alarms)) > r.most {
		r.refused++
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	if len(e.Data.Alarms) == 0 {
		r.times[e.ID]++
	}
	for _, a := range e.Data.Alarms {
		r.times[a.ID]++
	}
}

func (r *arrivals) count() (different, all int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, n := range r.times {
		all += n
	}
	return len(r.times), all
}

// often makes findings of what the recordings do often.
const often = `alarms:
  - { name: hunting, condition: stroking, clear: not stroking, delay: 1s }
  - { name: pulsation, condition: holding, clear: not holding, delay: 1s }
`

// takes lets the receiver take so many different ones, 0: all, and returns how many it refused before.
func (r *arrivals) takes(most int) (refused int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.most = most
	return r.refused
}

func (r *arrivals) hasRefused() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.refused > 0
}

// loud returns the ids of the stored transitions that receivers are told of.
func loud(t *testing.T, data string) map[string]bool {
	t.Helper()
	s, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	for _, r := range rs {
		list, err := s.Transitions(t.Context(), r.Plate.Key, 0, station.Instant(1<<62))
		if err != nil {
			t.Fatal(err)
		}
		for i := range list {
			if !list[i].Quiet() {
				out[list[i].ID()] = true
			}
		}
	}
	return out
}

// logServer is a NATS server of its own with JetStream and a login.
func logServer(t *testing.T, password string) *server.Server {
	t.Helper()
	s, err := server.NewServer(&server.Options{ServerName: "log", Username: "plant-a", Password: password, Host: "127.0.0.1", Port: peers.Port(t), NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: t.TempDir(), JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(patience) {
		t.Fatal("the log's server is not ready")
	}
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s
}

// inHalves plays all recordings from a time on, and calls middle once when each is halfway.
func inHalves(t *testing.T, addr string, from time.Time, middle func()) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	var halfway, ended sync.WaitGroup
	halfway.Add(len(rs))
	goOn := make(chan struct{})
	errs := make([]error, len(rs))
	for i, r := range rs {
		p, err := mqtt.NewPublisher(ctx, "tcp://"+addr, "sensors-"+r.Name)
		if err != nil {
			t.Fatal(err)
		}
		defer p.Close()
		last := &r.Blocks[len(r.Blocks)-1]
		half := from.Add(time.Duration(last.At(last.Len()-1).Sub(last.At(0))) / 2)
		stopped := false
		ended.Go(func() {
			errs[i] = playback.New(playback.Options{Recordings: []playback.Recording{r}, Start: from, Rounds: 1, Publish: p.Publish,
				Wait: func(ctx context.Context, at time.Time) error {
					if !stopped && at.After(half) {
						stopped = true
						halfway.Done()
						<-goOn
					}
					return ctx.Err()
				}}).Run(ctx)
		})
	}
	halfway.Wait()
	middle()
	close(goOn)
	ended.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

// A process is stopped (SIGSTOP) in mid-stream until another one, on a machine with a history of its
// own, has taken over the log and worked it off; then it goes on (SIGCONT). Each transition reaches
// the receiver once, those that an undisturbed run has; the first process ends by itself with its
// exit code, serves nothing meanwhile, and cannot be started again beside the other.
func TestOneSpeaks(t *testing.T) {
	from := time.Now().Add(-20 * time.Minute).Truncate(time.Minute).Add(30 * time.Second)
	calm := t.TempDir()
	broker := peers.Mosquitto(t)
	c := start(t, "run", "--config", configOf(t, broker.Addr, calm, often))
	c.ready()
	playAll(t, broker.Addr, from, 0)
	settled(c, broker.Addr)
	c.interrupt()
	want := loud(t, calm)
	if len(want) < 20 {
		t.Fatalf("the recordings raise %d transitions: too few to see anything", len(want))
	}
	undisturbed := stored(t, calm)
	t.Setenv(leaseEnv, "2s")
	for name, most := range map[string]int{"everything was told": 0, "the receiver was away": 10} {
		t.Run(name, func(t *testing.T) {
			o := takenOver(t, from, most)
			if o.before == 0 || o.before == len(want) {
				t.Errorf("%d of %d transitions were told by the first process: nothing to see", o.before, len(want))
			}
			for id := range want {
				if n := o.hook.times[id]; n != 1 {
					t.Errorf("%s came %d times", id, n)
				}
			}
			different, all := o.hook.count()
			if different != len(want) || all != len(want) {
				t.Errorf("%d notifications of %d transitions, the undisturbed run has %d", all, different, len(want))
			}
			t.Logf("%d notifications of %d transitions, %d of them from the first process", all, different, o.before)
			got := stored(t, o.data)
			for st := range undisturbed {
				compare(t, "undisturbed run", st, undisturbed[st], got[st])
			}
		})
	}
}

// overtaking is what came of a process that was stopped and another one that took over.
type overtaking struct {
	hook   *arrivals
	before int    // transitions that the first one told
	data   string // folder of the second one
}

// takenOver stops the first process when the recordings are halfway, and the receiver has taken so many (0: all).
func takenOver(t *testing.T, from time.Time, most int) overtaking {
	o := overtaking{hook: &arrivals{times: map[string]int{}, most: most}, data: t.TempDir()}
	hooked := httptest.NewServer(o.hook)
	defer hooked.Close()
	const password = "only-a-test-knows-this-password-of-a-log"
	log, broker := logServer(t, password), peers.Mosquitto(t)
	secret := write(t, "secret", password+"\n")
	external := fmt.Sprintf("log: { url: %q, user: plant-a, password_file: %q, prefix: plant-a, mac_key_file: %q,", log.ClientURL(), secret, secret)
	config := func(data string) string {
		text := configText(t, broker.Addr, data, often+fmt.Sprintf("notify: { webhook: { url: %q } }\n", hooked.URL))
		return write(t, "strokewise.yaml", strings.Replace(text, "log: {", external, 1))
	}
	first := config(t.TempDir())
	a := start(t, "run", "--config", first)
	a.ready()
	var b *child
	inHalves(t, broker.Addr, from, func() {
		settled(a, broker.Addr)
		if most > 0 {
			waitFor(t, "a refusal", o.hook.hasRefused)
		} else {
			outboxEmpty(a)
		}
		if err := a.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		o.before, _ = o.hook.count()
		b = start(t, "run", "--config", config(o.data))
		b.ready()
		o.hook.takes(0) // nothing of the first one is on its way any more
	})
	settled(b, broker.Addr)
	outboxEmpty(b)
	if err := a.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	if code, body := a.get("/metrics"); code == http.StatusOK {
		t.Errorf("the first process serves metrics: %.200s", body)
	}
	began := time.Now()
	select {
	case <-a.done:
	case <-time.After(patience):
		t.Fatalf("the first process does not end: %s", a.said())
	}
	t.Logf("the first process ended %s after it went on, with code %d", time.Since(began).Round(time.Millisecond), a.cmd.ProcessState.ExitCode())
	if code := a.cmd.ProcessState.ExitCode(); code != exitTaken {
		t.Errorf("exit code %d, want %d: %s", code, exitTaken, a.said())
	}
	if !strings.Contains(a.said(), "has taken over") {
		t.Errorf("it does not say why it ends: %s", a.said())
	}
	var out, errOut strings.Builder
	if code := execute(t.Context(), []string{"run", "--config", first}, &out, &errOut); code != exitTaken {
		t.Errorf("started again it ends with %d: %s", code, errOut.String())
	}
	if code := b.interrupt(); code != exitOK {
		t.Errorf("exit code %d: %s", code, b.said())
	}
	return o
}

// waitFor waits until ok.
func waitFor(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(until) {
			t.Fatal("waited in vain for ", what)
		}
	}
}

// outboxEmpty waits until everything is told.
func outboxEmpty(c *child) {
	c.t.Helper()
	c.await("the end of telling", "/metrics", func(b string) bool {
		n, ok := metric(b, "strokewise_outbox_pending")
		return ok && n == 0
	})
}
