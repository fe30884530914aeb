package samplelog

import (
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

const (
	reviveEvery = 10 * time.Second // at most
	reviveRoom  = 16 << 20         // bytes that must be free

	// writeDeadline is how long the embedded server waits for its client to read before it closes
	// the connection. Its default of 10 s is meant for a network. Here the client is in the same
	// process: if it does not read, it has no processor time, and losing the connection helps nobody.
	writeDeadline = time.Hour
)

// inProcess gives the client connections to whichever embedded server is the present one.
type inProcess struct{ j *JetStream }

func (p inProcess) InProcessConn() (net.Conn, error) {
	p.j.serving.Lock()
	s := p.j.server
	p.j.serving.Unlock()
	return s.InProcessConn()
}

// faulty reports whether the embedded server cannot store entries until it is restarted. A
// server that is merely slow to answer is not faulty.
func (j *JetStream) faulty() bool {
	j.serving.Lock()
	defer j.serving.Unlock()
	return j.reports.failed.Load() || !j.server.JetStreamEnabled()
}

// revive restarts the embedded server if it reported a fault. A server whose disk was full for a
// moment leaves every entry unanswered, even when there is room again. revive waits for that
// room. Readers and the lease go on by themselves. A busy server is left alone: a restart
// breaks every connection and makes it busier.
func (j *JetStream) revive() {
	if j.opt.URL != "" || !j.reviving.TryLock() {
		return
	}
	defer j.reviving.Unlock()
	if !j.faulty() {
		return
	}
	if time.Since(j.revived) < reviveEvery {
		return
	}
	j.revived = time.Now()
	if err := roomy(j.opt.Dir); err != nil {
		j.opt.Logger.Error("the sample log cannot be written: free the disk; it goes on by itself then", slog.Any("error", err))
		return
	}
	j.opt.Logger.Warn("the sample log's server does not store entries although there is room: restarting it")
	j.serving.Lock()
	defer j.serving.Unlock()
	if j.closed {
		return
	}
	j.server.Shutdown()
	j.server.WaitForShutdown()
	next, reports, err := j.newServer()
	if err != nil {
		j.opt.Logger.Error("cannot restart the sample log's server, trying again", slog.Any("error", err))
	}
	if next != nil {
		j.server, j.reports = next, reports
	}
}

// roomy tries whether the folder takes a file of some size.
func roomy(dir string) error {
	f, err := os.CreateTemp(dir, "room")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	for chunk, n := make([]byte, 1<<20), 0; n < reviveRoom; n += len(chunk) {
		if _, err := f.Write(chunk); err != nil {
			return err
		}
	}
	return nil
}

// newServer starts an embedded server on the folder and waits until it is ready. With an
// error it may return a server that must be shut down.
func (j *JetStream) newServer() (*server.Server, *serverLog, error) {
	s, err := server.NewServer(&server.Options{
		ServerName: "strokewise", DontListen: true, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: filepath.Join(j.opt.Dir, "stream"), JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: int64(1) << 62,
		SyncAlways: j.opt.SyncAlways, MaxPayload: 1 << 20, WriteDeadline: writeDeadline,
	})
	if err != nil {
		return nil, nil, fmt.Errorf("cannot start the sample log in %q: %w", j.opt.Dir, err)
	}
	reports := &serverLog{log: j.opt.Logger}
	s.SetLoggerV2(reports, false, false, false)
	s.Start()
	for until := time.Now().Add(startWait); !s.ReadyForConnections(50 * time.Millisecond); {
		if why := reports.fatal.Load(); why != nil {
			return s, reports, fmt.Errorf("cannot start the sample log in %q: %s; %s", j.opt.Dir, *why, folderHint)
		}
		if time.Now().After(until) {
			return s, reports, fmt.Errorf("cannot start the sample log in %q: it was not ready after %s; is the disk full or read-only?", j.opt.Dir, startWait)
		}
	}
	reports.failed.Store(false) // what it found damaged is no failure to store
	return s, reports, nil
}
