package main

import (
	"net"
	"path/filepath"
	"testing"
)

// Started by a service manager, the program reports ready once its pages are there, alive while it
// works, and its end, as sd_notify(3) has it.
func TestServiceManagerIsTold(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "300000")
	next := func() string {
		b := make([]byte, 256)
		n, err := socket.Read(b)
		if err != nil {
			t.Fatal(err)
		}
		return string(b[:n])
	}
	c := start(t, "run", "--config", write(t, "plant.yaml", `version: 1
http: { listen: "127.0.0.1:0" }
mqtt: { broker: "tcp://127.0.0.1:1", topics: [{ match: "boost/{site}/{station}/{channel}" }] }
data: `+t.TempDir()+"\nsites: [{ id: northdock }]\nstations: [{ id: press-4 }]\n"))
	if got := next(); got != "READY=1" {
		t.Errorf("first word %q", got)
	}
	if got := next(); got != "WATCHDOG=1" {
		t.Errorf("second word %q", got)
	}
	ended := make(chan int, 1)
	go func() { ended <- c.interrupt() }()
	for next() != "STOPPING=1" { // beats of before
	}
	if code := <-ended; code != 0 {
		t.Errorf("exit code %d: %s", code, c.said())
	}
}
