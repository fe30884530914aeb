package mqtt

import (
	"context"
	"maps"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/deploy/peers"
)

const (
	panelEnv   = "STROKEWISE_TEST_PANEL" // broker's URL: the test binary is a panel's writer
	heartTopic = "lights/heartbeat"
	lightTopic = "lights/northdock/press-4/alarm"
	otherTopic = "lights/northdock/press-5/alarm"
)

// lights is what the topics are to hold.
type lights struct {
	mu   sync.Mutex
	want map[string]string
}

func (l *lights) set(m map[string]string) { l.mu.Lock(); l.want = m; l.mu.Unlock() }

func (l *lights) get() map[string]string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return maps.Clone(l.want)
}

func retainedOf(broker string, topics func() map[string]string) *Retained {
	return NewRetained(RetainedOptions{Brokers: []string{broker}, ClientID: "strokewise-lights", Heartbeat: heartTopic, Alive: "running", Dead: "unknown",
		Topics: topics, Look: 20 * time.Millisecond, KeepAlive: time.Second})
}

// retainedAt gives what the broker keeps now, as one who comes new sees it.
func retainedAt(t *testing.T, broker string) map[string]string {
	t.Helper()
	var mu sync.Mutex
	out := map[string]string{}
	c := paho.NewClient(paho.NewClientOptions().AddBroker(broker).SetClientID("panel-eye").SetCleanSession(true))
	if k := c.Connect(); !k.WaitTimeout(patience) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	defer c.Disconnect(50)
	const last = "panel-eye/last" // a message of our own, which the broker sends behind all it keeps
	all := make(chan struct{})
	k := c.Subscribe("#", 1, func(_ paho.Client, m paho.Message) {
		mu.Lock()
		defer mu.Unlock()
		if m.Retained() {
			out[m.Topic()] = string(m.Payload())
		}
		if m.Topic() == last {
			close(all)
		}
	})
	if !k.WaitTimeout(patience) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	if k := c.Publish(last, 1, false, ""); !k.WaitTimeout(patience) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	select {
	case <-all:
	case <-time.After(patience):
		t.Fatal("the broker does not send our own message")
	}
	mu.Lock()
	defer mu.Unlock()
	return maps.Clone(out)
}

func expectRetained(t *testing.T, broker string, want map[string]string) {
	t.Helper()
	var got map[string]string
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if got = retainedAt(t, broker); maps.Equal(got, want) {
			return
		}
	}
	t.Fatalf("retained: %v, expected %v", got, want)
}

// A real broker keeps what is said, through changes, a station that goes, the broker's own
// restart (which forgets), and an orderly end.
func TestRetainedAtARealBroker(t *testing.T) {
	p := peers.Mosquitto(t)
	broker := "tcp://" + p.Addr
	var l lights
	l.set(map[string]string{lightTopic: "high", otherTopic: "none-open"})
	r := retainedOf(broker, l.get)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- r.Run(ctx) }()
	defer func() { stop(); <-done }()
	expectRetained(t, broker, map[string]string{heartTopic: "running", lightTopic: "high", otherTopic: "none-open"})
	l.set(map[string]string{lightTopic: "medium"})
	expectRetained(t, broker, map[string]string{heartTopic: "running", lightTopic: "medium", otherTopic: "unknown"})
	p.Kill()
	p.Restart()
	expectRetained(t, broker, map[string]string{heartTopic: "running", lightTopic: "medium"})
	if written, failed := r.Figures(); written < 6 || failed == 0 {
		t.Errorf("%d written, %d failed", written, failed)
	}
	stop()
	<-done
	done <- nil
	expectRetained(t, broker, map[string]string{heartTopic: "unknown", lightTopic: "unknown"})
	if err := r.Once(t.Context(), "lights/test", "test"); err != nil {
		t.Error(err)
	}
	if got := retainedAt(t, broker); len(got) != 2 {
		t.Errorf("a test message is retained: %v", got)
	}
}

// A writer that is killed leaves its last will.
func TestRetainedLeavesItsWillWhenKilled(t *testing.T) {
	if broker := os.Getenv(panelEnv); broker != "" {
		retainedOf(broker, func() map[string]string { return map[string]string{lightTopic: "none-open"} }).Run(context.Background())
		return
	}
	p := peers.Mosquitto(t)
	broker := "tcp://" + p.Addr
	c := exec.Command(os.Args[0], "-test.run=^TestRetainedLeavesItsWillWhenKilled$")
	c.Env = append(os.Environ(), panelEnv+"="+broker)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	expectRetained(t, broker, map[string]string{heartTopic: "running", lightTopic: "none-open"})
	c.Process.Kill()
	expectRetained(t, broker, map[string]string{heartTopic: "unknown", lightTopic: "none-open"})
}

func TestRetainedWithNobodyThere(t *testing.T) {
	r := retainedOf("tcp://127.0.0.1:1", func() map[string]string { return nil })
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); r.Run(ctx) }()
	await(t, "a counted failure", func() bool { _, failed := r.Figures(); return failed > 0 })
	stop()
	<-done
	if err := r.Once(t.Context(), "lights/test", "test"); err == nil {
		t.Error("a test without a broker succeeds")
	}
}
