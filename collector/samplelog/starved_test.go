package samplelog

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"strokewise/analyzer/station"
)

// starved is a connection to the embedded server whose client can be kept from reading, as if it
// had no processor time.
type starved struct {
	net.Conn
	gate *sync.RWMutex // locked: nothing is read
}

func (s starved) Read(p []byte) (int, error) {
	s.gate.RLock()
	defer s.gate.RUnlock()
	return s.Conn.Read(p)
}

// starving hands out starved connections.
type starving struct {
	inProcess
	gate *sync.RWMutex
}

func (s starving) InProcessConn() (net.Conn, error) {
	c, err := s.inProcess.InProcessConn()
	return starved{c, s.gate}, err
}

// starvable returns a second client of an embedded log, and the gate that starves it.
func starvable(t *testing.T, j *JetStream, log *slog.Logger) (*JetStream, *sync.RWMutex) {
	t.Helper()
	k := &JetStream{opt: Options{Logger: log}, names: usual}
	gate := &sync.RWMutex{}
	var err error
	if k.conn, err = k.connectEmbedded(starving{inProcess{j}, gate}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(k.conn.Close)
	if k.js, err = jetstream.New(k.conn); err != nil {
		t.Fatal(err)
	}
	if k.stream, err = k.js.Stream(t.Context(), usual.stream); err != nil {
		t.Fatal(err)
	}
	return k, gate
}

// waiting returns the bytes that wait at the server for a client.
func waiting(t *testing.T, s *server.Server, id uint64) int {
	t.Helper()
	c, err := s.Connz(&server.ConnzOptions{CID: id})
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Conns) == 0 {
		return 0
	}
	return c.Conns[0].Pending
}

// requests returns how many requests of readers the server has not yet fulfilled.
func requests(t *testing.T, j *JetStream) int {
	t.Helper()
	n := 0
	for c := range j.stream.ListConsumers(t.Context()).Info() {
		n += c.NumWaiting
	}
	return n
}

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

// until waits for a condition.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("waited in vain for " + what)
		}
	}
}

// lines is a log that tests look into.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *lines) has(text string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Contains(l.b.String(), text)
}

// A reader of every partition has asked for entries when the client is kept from reading, and more
// entries come than the server holds for one connection (64 MiB by default; it closes the
// connection then). What waits stays below, and afterwards every entry is read.
func TestAStarvedClientKeepsItsConnection(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	var log lines
	k, gate := starvable(t, j, slog.New(slog.NewTextHandler(&log, nil)))
	id, err := k.conn.GetClientID()
	if err != nil {
		t.Fatal(err)
	}
	const entries = 10 // of 0.5 MB each, 80 MB in all partitions
	ctx, stop := context.WithCancel(t.Context())
	var readers sync.WaitGroup
	defer readers.Wait()
	defer stop()
	var read atomic.Int64
	for n := range station.Partitions {
		readers.Go(func() {
			_ = k.Read(ctx, n, 0, func(Entry) error { read.Add(1); return nil })
		})
	}
	until(t, "a request of every reader", func() bool { return requests(t, j) == station.Partitions })
	gate.Lock()
	appendLarge(t, j, entries)
	most := 0
	until(t, "the server to fulfil the requests", func() bool {
		most = waiting(t, j.server, id)
		return j.server.NumSlowConsumers() > 0 || requests(t, j) == 0 && most >= station.Partitions*pullBytes/2
	})
	gate.Unlock()
	t.Logf("%.1f MiB waited at the server", float64(most)/(1<<20))
	until(t, "all entries", func() bool { return read.Load() >= entries*station.Partitions })
	if j.server.NumSlowConsumers() > 0 || log.has("no connection") {
		t.Error("the server closed the connection")
	}
}

// The answer to the request for a reader is lost. The reader does not wait for it until its context
// ends, but asks again, and reads.
func TestALostAnswerDoesNotStopAReader(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	mustAppend(t, j, 0, 7)
	k, gate := starvable(t, j, slog.New(slog.DiscardHandler))
	k.opt.answersFor = 100 * time.Millisecond
	ctx, cancel := context.WithTimeout(t.Context(), 10*patience) // a deadline, on which the client relies
	defer cancel()
	gate.Lock()
	done := make(chan error, 1)
	go func() { _, err := k.reader(ctx, 0, 0); done <- err }()
	select {
	case err := <-done:
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("without an answer: %v", err)
		}
	case <-time.After(patience):
		t.Error("the reader waits for ever")
	}
	gate.Unlock()
	k.opt.answersFor = 0
	err = k.Read(ctx, 0, 0, func(e Entry) error { return errEnough })
	if !errors.Is(err, errEnough) {
		t.Error(err)
	}
}

// appendLarge appends entries of 0.5 MB to every partition.
func appendLarge(t *testing.T, l Log, entries int) {
	t.Helper()
	v := make([]float64, 62_500)
	for i := range v {
		v[i] = float64(i) + 1e-9*float64(i%7) // no whole tenths, so 8 bytes each
	}
	record := []station.Record{{Blocks: []station.Block{{Values: v}}}}
	for range entries {
		for n := range station.Partitions {
			if _, err := l.Append(t.Context(), n, record); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// A server that works is not restarted, however late its answers come; one that has reported
// a fault is, and the log goes on.
func TestOnlyAFaultyServerIsRestarted(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	mustAppend(t, j, 0, 0)
	first := j.server
	if j.revive(); j.server != first {
		t.Error("a sound server was restarted")
	}
	j.reports.Errorf("critical write error")
	if j.revive(); j.server == first {
		t.Error("a faulty server was not restarted")
	}
	until(t, "an accepted entry", func() bool { _, err := j.Append(t.Context(), 0, tick(1)); return err == nil })
}

// The size is asked for until the embedded server answers, since a program that starts ends without it.
func TestASizeIsAskedForAgain(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	var log lines
	k, gate := starvable(t, j, slog.New(slog.NewTextHandler(&log, nil)))
	if k.js, err = jetstream.New(k.conn, jetstream.WithDefaultTimeout(50*time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	if k.stream, err = k.js.Stream(t.Context(), usual.stream); err != nil {
		t.Fatal(err)
	}
	gate.Lock()
	answer := make(chan error, 1)
	go func() {
		_, err := k.measure(t.Context())
		answer <- err
	}()
	until(t, "the second question", func() bool { return log.has("asking again") })
	gate.Unlock()
	if err := <-answer; err != nil {
		t.Error(err)
	}
}

// A client that reads the server's greeting later than the library waits by default is connected.
func TestAStarvedClientConnects(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), MaxBytes: 1 << 30})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	gate := &sync.RWMutex{}
	gate.Lock()
	time.AfterFunc(nats.DefaultTimeout+nats.DefaultTimeout/2, gate.Unlock)
	k := &JetStream{opt: Options{Logger: slog.New(slog.DiscardHandler)}, names: usual}
	c, err := k.connectEmbedded(starving{inProcess{j}, gate})
	if err != nil {
		t.Fatal(err)
	}
	c.Close()
}
