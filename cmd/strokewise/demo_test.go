package main

import (
	"net"
	"strings"
	"testing"
	"time"
)

// The demonstration comes up on a free port when its own is taken, shows figures of every
// station, ends cleanly, and goes on where it was.
func TestDemo(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	data := t.TempDir()
	args := []string{"demo", "--data", data, "--listen", taken.Addr().String()}
	began := time.Now()
	c := start(t, args...)
	c.await("the first page", "/", func(b string) bool { return strings.Contains(b, "press-4") })
	t.Logf("first page after %.1f s", time.Since(began).Seconds())
	if c.addr == taken.Addr().String() {
		t.Fatal("it took a port that is taken")
	}
	stations := []string{"press-4", "press-5", "clamp-2", "clamp-3", "bench-1", "bench-2"}
	c.await("strokes of all stations", "/metrics", func(b string) bool {
		for _, s := range stations {
			if v, ok := metric(b, `strokewise_stroke_rate_hertz{branch="`+branch(s)+`",site="northdock",station="`+s+`"}`); !ok || v <= 0 {
				return false
			}
		}
		return true
	})
	body := c.await("metrics", "/metrics", func(string) bool { return true })
	for _, l := range strings.Split(body, "\n") {
		if strings.HasPrefix(l, "strokewise_payloads_refused_total") && !strings.HasSuffix(l, " 0") {
			t.Errorf("the demonstration's own messages are refused: %s", l)
		}
	}
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d: %s", code, c.said())
	}
	c = start(t, args...)
	c.ready()
	if code := c.interrupt(); code != 0 {
		t.Errorf("second run: exit code %d: %s", code, c.said())
	}
}
