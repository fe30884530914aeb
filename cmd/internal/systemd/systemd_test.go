package systemd

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"testing"
)

// manager is the receiving end of the protocol in sd_notify(3): datagrams of lines NAME=value.
func manager(t *testing.T) (next func() string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	t.Setenv("NOTIFY_SOCKET", path)
	return func() string {
		b := make([]byte, 256)
		n, err := c.Read(b)
		if err != nil {
			t.Error(err)
		}
		return string(b[:n])
	}
}

func TestReadyAndStopping(t *testing.T) {
	next := manager(t)
	m := FromEnvironment()
	for want, report := range map[string]func() error{"READY=1": m.Ready, "STOPPING=1": m.Stopping} {
		if err := report(); err != nil {
			t.Fatal(err)
		}
		if got := next(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestAliveUntilItHangs(t *testing.T) {
	next := manager(t)
	t.Setenv("WATCHDOG_USEC", "30000")
	t.Setenv("WATCHDOG_PID", strconv.Itoa(os.Getpid()))
	ctx, cancel := context.WithCancel(t.Context())
	var hangs atomic.Bool
	done := make(chan struct{})
	go func() {
		defer close(done)
		FromEnvironment().Alive(ctx, func() string {
			if hangs.Load() {
				return "history-3 is silent"
			}
			return ""
		})
	}()
	for range 2 {
		if got := next(); got != "WATCHDOG=1" {
			t.Errorf("%q", got)
		}
	}
	hangs.Store(true)
	for next() == "WATCHDOG=1" { // sent before it hung
	}
	if got := next(); got != "STATUS=history-3 is silent" {
		t.Errorf("%q", got)
	}
	cancel()
	<-done
}

// Nobody has asked: no socket, no watchdog, or one of another process.
func TestNobodyAsked(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	t.Setenv("WATCHDOG_USEC", "1000")
	m := FromEnvironment()
	m.Alive(t.Context(), func() string { t.Error("asked"); return "" })
	if err := m.Ready(); err != nil {
		t.Error(err)
	}
	manager(t)
	t.Setenv("WATCHDOG_PID", "1")
	FromEnvironment().Alive(t.Context(), func() string { t.Error("asked"); return "" })
}

// A manager that is not there is an error that says so.
func TestUnreachable(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", filepath.Join(t.TempDir(), "none"))
	if FromEnvironment().Ready() == nil {
		t.Error("no error")
	}
}
