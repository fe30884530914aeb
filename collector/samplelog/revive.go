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
)

// inProcess gives the client connections to whichever embedded server is the present one.
type inProcess struct{ j *JetStream }

func (p inProcess) InProcessConn() (net.Conn, error) {
	p.j.serving.Lock()
	s := p.j.server
	p.j.serving.Unlock()
	return s.InProcessConn()
}

// revive restarts the embedded server after entries could not be stored. A server whose
// disk was full for a moment answers no more, even when there is room again. It waits for
// that room. Readers and the lease go on by themselves.
func (j *JetStream) revive() {
	if j.opt.URL != "" || !j.reviving.TryLock() {
		return
	}
	defer j.reviving.Unlock()
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
	next, err := j.newServer()
	if err != nil {
		j.opt.Logger.Error("cannot restart the sample log's server, trying again", slog.Any("error", err))
	}
	if next != nil {
		j.server = next
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
// error it may give one that must be shut down.
func (j *JetStream) newServer() (*server.Server, error) {
	s, err := server.NewServer(&server.Options{
		ServerName: "strokewise", DontListen: true, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: filepath.Join(j.opt.Dir, "stream"), JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: int64(1) << 62,
		SyncAlways: j.opt.SyncAlways, MaxPayload: 1 << 20,
	})
	if err != nil {
		return nil, fmt.Errorf("cannot start the sample log in %q: %w", j.opt.Dir, err)
	}
	said := &serverLog{log: j.opt.Logger}
	s.SetLoggerV2(said, false, false, false)
	s.Start()
	for until := time.Now().Add(startWait); !s.ReadyForConnections(50 * time.Millisecond); {
		if why := said.fatal.Load(); why != nil {
			return s, fmt.Errorf("cannot start the sample log in %q: %s; %s", j.opt.Dir, *why, folderHint)
		}
		if time.Now().After(until) {
			return s, fmt.Errorf("cannot start the sample log in %q: it was not ready after %s; is the disk full or read-only?", j.opt.Dir, startWait)
		}
	}
	return s, nil
}
