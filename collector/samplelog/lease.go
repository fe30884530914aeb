package samplelog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// The lease keeps a second writer off a log that more than one machine can reach. It is
// an entry beside the stream that its holder renews; unrenewed it ends after leaseTTL.
const (
	leaseBucket = "sw_v1_lease"
	leaseKey    = "writer"
	leaseTTL    = 15 * time.Second
	leaseEvery  = 5 * time.Second
)

// ErrLease is wrapped by Append and Open when another writer holds the log.
var ErrLease = errors.New("another writer holds the log")

// lease is the right to append.
type lease struct {
	kv   jetstream.KeyValue
	rev  uint64
	lost atomic.Bool
	stop context.CancelFunc
	done chan struct{}
}

// takeLease takes the lease. With force the lease of a dead process on the same data
// folder, whose lock we hold, is taken over at once.
func takeLease(ctx context.Context, js jetstream.JetStream, force bool, log *slog.Logger) (*lease, error) {
	kv, err := js.CreateOrUpdateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: leaseBucket, TTL: leaseTTL, Storage: jetstream.FileStorage, MaxBytes: 1 << 20})
	if err != nil {
		return nil, fmt.Errorf("cannot make the writer's lease: %w", err)
	}
	host, _ := os.Hostname()
	owner := []byte(fmt.Sprintf("process %d on %s", os.Getpid(), host))
	l := &lease{kv: kv, done: make(chan struct{})}
	if force {
		l.rev, err = kv.Put(ctx, leaseKey, owner)
	} else {
		l.rev, err = kv.Create(ctx, leaseKey, owner)
	}
	if errors.Is(err, jetstream.ErrKeyExists) {
		holder := "unknown"
		if e, err := kv.Get(ctx, leaseKey); err == nil {
			holder = string(e.Value())
		}
		return nil, fmt.Errorf("cannot write to the sample log: %w (%s); stop it, or wait %s after it ended", ErrLease, holder, leaseTTL)
	}
	if err != nil {
		return nil, fmt.Errorf("cannot take the writer's lease: %w", err)
	}
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	l.stop = stop
	go l.renew(run, owner, log)
	return l, nil
}

// renew keeps the lease; once it finds another holder it is lost for good.
func (l *lease) renew(ctx context.Context, owner []byte, log *slog.Logger) {
	defer close(l.done)
	t := time.NewTicker(leaseEvery)
	defer t.Stop()
	held := time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		rev, err := l.kv.Update(ctx, leaseKey, owner, l.rev)
		switch {
		case err == nil:
			l.rev, held = rev, time.Now()
		case errors.Is(err, jetstream.ErrKeyExists) || time.Since(held) > leaseTTL && l.expired(ctx, owner):
			l.lost.Store(true)
			log.Error("the writer's lease of the sample log is lost: nothing is appended any more; restart", "error", err)
			return
		}
	}
}

// expired tries to take an expired lease back and tells whether that failed.
func (l *lease) expired(ctx context.Context, owner []byte) bool {
	rev, err := l.kv.Create(ctx, leaseKey, owner)
	if err == nil {
		l.rev = rev
	}
	return err != nil
}

// release ends the lease.
func (l *lease) release(ctx context.Context) {
	l.stop()
	<-l.done
	if !l.lost.Load() {
		_ = l.kv.Delete(ctx, leaseKey, jetstream.LastRevision(l.rev))
	}
}
