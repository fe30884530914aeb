// Package systemd reports to the service manager that started the program, as sd_notify(3) defines it:
// ready, stopping, and alive. Started by anything else it does nothing.
package systemd

import (
	"context"
	"fmt"
	"net"
	"os"
	"strconv"
	"time"
)

// Manager is the service manager's socket. The zero Manager reports to nobody.
type Manager struct {
	socket string        // a path, or with @ an abstract name
	within time.Duration // of the watchdog, 0: there is none
}

// FromEnvironment returns the manager that started this process.
func FromEnvironment() Manager {
	m := Manager{socket: os.Getenv("NOTIFY_SOCKET")}
	usec, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if pid := os.Getenv("WATCHDOG_PID"); err == nil && usec > 0 && (pid == "" || pid == strconv.Itoa(os.Getpid())) {
		m.within = time.Duration(usec) * time.Microsecond
	}
	return m
}

// Ready reports that the start is over.
func (m Manager) Ready() error { return m.send("READY=1") }

// Stopping reports that the program ends.
func (m Manager) Stopping() error { return m.send("STOPPING=1") }

// Alive keeps the watchdog off until ctx ends, for as long as hangs returns "". What it returns
// otherwise is shown as the service's status, and the manager kills the process once its time is over.
func (m Manager) Alive(ctx context.Context, hangs func() string) {
	if m.socket == "" || m.within <= 0 {
		return
	}
	t := time.NewTicker(m.within / 3) // sd_watchdog_enabled(3) recommends half at most
	defer t.Stop()
	for {
		state := "WATCHDOG=1"
		if what := hangs(); what != "" {
			state = "STATUS=" + what
		}
		_ = m.send(state) // a manager that cannot be reached kills the process by itself
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

func (m Manager) send(state string) error {
	if m.socket == "" {
		return nil
	}
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: m.socket, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("cannot reach the service manager: %w", err)
	}
	defer c.Close()
	if _, err := c.Write([]byte(state)); err != nil {
		return fmt.Errorf("cannot tell the service manager %s: %w", state, err)
	}
	return nil
}
