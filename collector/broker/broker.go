// Package broker is an MQTT broker inside the process, for demonstrations and tests on
// one machine: a NATS server with its MQTT listener on a loopback address. Plants bring
// their own broker.
package broker

import (
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

const startWait = 30 * time.Second

// ackWait is how long the broker waits for an acknowledgement before it sends a message
// again, also on a live connection.
const ackWait = 5 * time.Second

// Broker is a running broker.
type Broker struct {
	server *server.Server
	addr   string
}

// Start starts a broker with its state in dir that listens for MQTT on addr, a loopback
// address; port 0 takes a free one.
func Start(dir, addr string) (*Broker, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("cannot start the embedded broker on %q: %w", addr, err)
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return nil, fmt.Errorf("cannot start the embedded broker on %q: it takes anybody's messages, so only a loopback address is allowed", addr)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, fmt.Errorf("cannot start the embedded broker on %q: %w", addr, err)
	}
	if n == 0 {
		n = server.RANDOM_PORT
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make the embedded broker's folder: %w", err)
	}
	opts := &server.Options{
		ServerName: "strokewise-broker", Host: "127.0.0.1", DontListen: true, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: dir, JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 1 << 30,
	}
	opts.MQTT.Host, opts.MQTT.Port, opts.MQTT.AckWait, opts.MQTT.MaxAckPending = host, n, ackWait, 1024
	s, err := server.NewServer(opts)
	if err != nil {
		return nil, fmt.Errorf("cannot start the embedded broker on %q: %w", addr, err)
	}
	s.Start()
	b := &Broker{server: s}
	if err := b.await(host, n); err != nil {
		b.Close()
		return nil, fmt.Errorf("cannot start the embedded broker on %q: %w", addr, err)
	}
	return b, nil
}

// await waits until the MQTT listener takes connections, and learns its port.
func (b *Broker) await(host string, port int) error {
	if !b.server.ReadyForConnections(startWait) {
		return errors.New("it was not ready in time")
	}
	for until := time.Now().Add(startWait); time.Now().Before(until); time.Sleep(10 * time.Millisecond) {
		if port <= 0 {
			if v, err := b.server.Varz(nil); err == nil && v.MQTT.Port > 0 {
				port = v.MQTT.Port
			} else {
				continue
			}
		}
		addr := net.JoinHostPort(host, strconv.Itoa(port))
		c, err := net.DialTimeout("tcp", addr, time.Second)
		if err != nil {
			continue
		}
		c.Close()
		b.addr = addr
		return nil
	}
	return errors.New("its MQTT listener did not come up; is the port taken?")
}

// Addr gives the address on which it listens.
func (b *Broker) Addr() string { return b.addr }

// URL gives the address for MQTT clients.
func (b *Broker) URL() string { return "tcp://" + b.addr }

// Close stops the broker.
func (b *Broker) Close() {
	b.server.Shutdown()
	b.server.WaitForShutdown()
}
