package app

import (
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"strokewise/deploy/peers"
)

// logServer starts a NATS server of its own with JetStream.
func logServer(t testing.TB, dir string, port int) *server.Server {
	t.Helper()
	s, err := server.NewServer(&server.Options{ServerName: "log", Host: "127.0.0.1", Port: port, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: dir, JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("the log's server is not ready")
	}
	return s
}

// The log is on a server of its own, which is away for a while in mid-stream; then we start
// anew: conclusions are those of a run with the embedded log.
func TestAnExternalLogMayBeAway(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	dir, port := t.TempDir(), peers.Port(t)
	s := logServer(t, dir, port)
	stopServer := func() { s.Shutdown(); s.WaitForShutdown() }
	defer func() { stopServer() }()
	o := plant(t, broker.Addr)
	o.LogURL = s.ClientURL()
	a, stop := running(t, o)
	played := playing(t, broker.Addr, from, 4*time.Millisecond)
	time.Sleep(500 * time.Millisecond)
	stopServer()
	waitFor(t, "unreadiness", func() bool { return a.Ready() != nil })
	t.Logf("readiness says: %v", a.Ready())
	s = logServer(t, dir, port)
	waitFor(t, "readiness", func() bool { return a.Ready() == nil })
	played()
	settle(t, a)
	stop()
	a, stop = running(t, o)
	settle(t, a)
	stop()
	same(t, want, concluded(t, o))
}
