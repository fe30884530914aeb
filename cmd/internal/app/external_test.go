package app

import (
	"fmt"
	"net/url"
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

// logCluster starts three NATS servers with JetStream that hold the log together.
func logCluster(t testing.TB) [3]*server.Server {
	t.Helper()
	var out [3]*server.Server
	var options [3]*server.Options
	var routes []*url.URL
	for i := range options {
		port := peers.Port(t)
		routes = append(routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", port)})
		options[i] = &server.Options{ServerName: fmt.Sprint("log-", i), Host: "127.0.0.1", Port: peers.Port(t), NoLog: true, NoSigs: true,
			JetStream: true, StoreDir: t.TempDir(), JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 1 << 30,
			Cluster: server.ClusterOpts{Name: "plant", Host: "127.0.0.1", Port: port}}
	}
	for i, o := range options {
		o.Routes = routes
		s, err := server.NewServer(o)
		if err != nil {
			t.Fatal(err)
		}
		s.Start()
		out[i] = s
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	}
	waitFor(t, "a leader of the log's servers", func() bool {
		for _, s := range out {
			if s.JetStreamIsLeader() {
				return true
			}
		}
		return false
	})
	return out
}

// The log is on a server of its own, which is away for a while in mid-stream; then we start
// anew: conclusions are those of a run with the embedded log.
func TestAnExternalLogMayBeAway(t *testing.T) {
	t.Parallel() // it waits more than it works
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
