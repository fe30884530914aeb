package samplelog

import (
	"encoding/json"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"strokewise/deploy/peers"
)

const nodeEnv = "STROKEWISE_TEST_NATS_NODE"

// node is one server of a cluster, a process of its own that can be killed.
type node struct {
	Name, Dir      string
	Client, Routed int   // ports
	Routes         []int // of all
	cmd            *exec.Cmd
}

// serveNode is what the process does: a plain NATS server with JetStream, until killed.
func serveNode(text string) {
	var n node
	if err := json.Unmarshal([]byte(text), &n); err != nil {
		panic(err)
	}
	o := &server.Options{ServerName: n.Name, Host: "127.0.0.1", Port: n.Client, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: n.Dir, JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 1 << 30}
	if len(n.Routes) > 0 {
		o.Cluster = server.ClusterOpts{Name: "plant", Host: "127.0.0.1", Port: n.Routed}
		for _, p := range n.Routes {
			o.Routes = append(o.Routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", p)})
		}
	}
	s, err := server.NewServer(o)
	if err != nil {
		panic(err)
	}
	s.Start()
	s.WaitForShutdown()
}

// start starts the server and waits until it listens.
func (n *node) start(t testing.TB) {
	t.Helper()
	text, err := json.Marshal(n)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), nodeEnv+"="+string(text))
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	n.cmd = cmd
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", n.Client)); err == nil {
			c.Close()
			return
		}
	}
	t.Fatalf("server %s does not listen", n.Name)
}

// kill is kill -9.
func (n *node) kill() {
	if n.cmd != nil {
		n.cmd.Process.Kill()
		n.cmd.Wait()
		n.cmd = nil
	}
}

// cluster is a number of servers, one of them a server of its own.
type cluster []*node

// startCluster starts the servers and waits until they have a leader among them.
func startCluster(t testing.TB, servers int) cluster {
	t.Helper()
	var c cluster
	var routes []int
	for i := range servers {
		n := &node{Name: fmt.Sprint("n", i), Dir: t.TempDir(), Client: peers.Port(t), Routed: peers.Port(t)}
		c, routes = append(c, n), append(routes, n.Routed)
	}
	t.Cleanup(func() {
		for _, n := range c {
			n.kill()
		}
	})
	for _, n := range c {
		if servers > 1 {
			n.Routes = routes
		}
		n.start(t)
	}
	conn, js := c.client(t)
	defer conn.Close()
	for until := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		s, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "PROBE", Subjects: []string{"probe"}, Replicas: servers})
		if err == nil {
			if err := js.DeleteStream(t.Context(), s.CachedInfo().Config.Name); err != nil {
				t.Fatal(err)
			}
			return c
		}
		if time.Now().After(until) {
			t.Fatal("the cluster takes no stream: ", err)
		}
	}
}

func (c cluster) url() string {
	var out []string
	for _, n := range c {
		out = append(out, fmt.Sprintf("nats://127.0.0.1:%d", n.Client))
	}
	return strings.Join(out, ",")
}

// client gives a bare client of the cluster.
func (c cluster) client(t testing.TB) (*nats.Conn, jetstream.JetStream) {
	t.Helper()
	conn, err := nats.Connect(c.url(), nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		t.Fatal(err)
	}
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	return conn, js
}

// clear removes what a log left.
func (c cluster) clear(t testing.TB) {
	t.Helper()
	conn, js := c.client(t)
	defer conn.Close()
	for _, name := range []string{usual.stream, "KV_" + usual.lease} {
		if err := js.DeleteStream(t.Context(), name); err != nil && !isCode(err, 10059) {
			t.Fatal(err)
		}
	}
}

// opener gives a log on the cluster to a conformance test, each time an empty one.
func (c cluster) opener(t *testing.T, max int64) (Log, func() Log) {
	c.clear(t)
	dir := t.TempDir()
	open := func() Log {
		j, err := Open(t.Context(), Options{Dir: dir, MaxBytes: max, URL: c.url()})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { j.Close() })
		return j
	}
	return open(), open
}

func TestConformanceOnExternalServers(t *testing.T) {
	for _, servers := range []int{1, 3} {
		t.Run(fmt.Sprint(servers), func(t *testing.T) {
			c := startCluster(t, servers)
			conform(t, c.opener)
			c.clear(t)
			j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: c.url()})
			if err != nil {
				t.Fatal(err)
			}
			defer j.Close()
			for _, name := range []string{usual.stream, "KV_" + usual.lease} {
				s, err := j.js.Stream(t.Context(), name)
				if err != nil {
					t.Fatal(err)
				}
				if got := s.CachedInfo().Config.Replicas; got != servers {
					t.Errorf("%s has %d replicas on %d servers", name, got, servers)
				}
			}
		})
	}
}
