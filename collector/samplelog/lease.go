package samplelog

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// The lease keeps a second writer off a log that more than one machine can reach. It is
// an entry beside the stream that its holder renews; unrenewed it ends after its time.
const (
	leaseBucket = "sw_v1_lease"
	leaseKey    = "writer"
	leaseTTL    = 15 * time.Second
)

// ErrLease is wrapped by Append and Open when this process may not write to the log.
var ErrLease = errors.New("another writer holds the log")

// errUnsure is wrapped by Append while the lease may have ended and the servers do not
// answer.
var errUnsure = errors.New("the writer's lease could not be renewed in time; trying again")

// lease is the right to append.
type lease struct {
	kv    jetstream.KeyValue
	owner string // no other lease has the same
	ttl   time.Duration
	log   *slog.Logger
	stop  context.CancelFunc
	done  chan struct{}

	mu    sync.Mutex
	rev   uint64
	until time.Time // no other writer can hold it before
	lost  bool      // for good
}

// openLease takes the lease. The lease of a dead process on the same data folder, whose
// lock we hold, is taken over at once.
func (j *JetStream) openLease(ctx context.Context) error {
	ttl := j.opt.leaseTTL
	if ttl <= 0 {
		ttl = leaseTTL
	}
	var kv jetstream.KeyValue
	err := j.replicas(ctx, "KV_"+leaseBucket, func(n int) (err error) {
		kv, err = j.js.CreateOrUpdateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: leaseBucket, TTL: ttl, Storage: jetstream.FileStorage, MaxBytes: 1 << 20, Replicas: n})
		return err
	})
	if err != nil {
		return fmt.Errorf("cannot make the writer's lease: %w", err)
	}
	j.lease, err = takeLease(ctx, kv, ttl, j.opt.URL == "", j.opt.Logger)
	return err
}

// takeLease takes the lease, with force from whoever has it. Without, it waits until the
// lease of a dead holder has ended; one that is renewed meanwhile is another writer's.
func takeLease(ctx context.Context, kv jetstream.KeyValue, ttl time.Duration, force bool, log *slog.Logger) (*lease, error) {
	host, _ := os.Hostname()
	l := &lease{kv: kv, ttl: ttl, log: log, done: make(chan struct{}),
		owner: fmt.Sprintf("process %d on %s, %s", os.Getpid(), host, rand.Text()[:8])}
	take := l.create
	if force {
		take = l.put
	}
	var first uint64
	for end := time.Now().Add(ttl + ttl/2); ; {
		err := take(ctx)
		if err == nil {
			break
		}
		if !errors.Is(err, jetstream.ErrKeyExists) {
			return nil, fmt.Errorf("cannot take the writer's lease: %w", err)
		}
		holder := "unknown"
		if e, err := kv.Get(ctx, leaseKey); err == nil {
			if holder = string(e.Value()); first == 0 {
				first = e.Revision()
				log.Info("waiting for the end of the last writer's lease", slog.String("of", holder), slog.Duration("at_most", ttl))
			}
			if e.Revision() == first && time.Now().Before(end) && pause(ctx, ttl/15) {
				continue
			}
		} else if time.Now().Before(end) && pause(ctx, ttl/15) {
			continue // it has just ended
		}
		return nil, fmt.Errorf("cannot write to the sample log: %w (%s); stop it, and this one can start %s later", ErrLease, holder, ttl)
	}
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	l.stop = stop
	go l.renew(run)
	return l, nil
}

// pause waits, and tells whether ctx has not ended.
func pause(ctx context.Context, d time.Duration) bool {
	select {
	case <-time.After(d):
		return true
	case <-ctx.Done():
		return false
	}
}

func (l *lease) create(ctx context.Context) error {
	asked := time.Now()
	rev, err := l.kv.Create(ctx, leaseKey, []byte(l.owner))
	return l.note(rev, asked, err)
}

func (l *lease) put(ctx context.Context) error {
	asked := time.Now()
	rev, err := l.kv.Put(ctx, leaseKey, []byte(l.owner))
	return l.note(rev, asked, err)
}

// note takes in a successful renewal. It counts from when it was asked for.
func (l *lease) note(rev uint64, asked time.Time, err error) error {
	if err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rev, l.until = rev, asked.Add(l.ttl)
	return nil
}

// holds tells whether appending is allowed now.
func (l *lease) holds() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.lost:
		return ErrLease
	case time.Now().After(l.until):
		return errUnsure
	}
	return nil
}

// renew keeps the lease until ctx ends; once another holder is found it is lost for good.
func (l *lease) renew(ctx context.Context) {
	defer close(l.done)
	t := time.NewTicker(l.ttl / 3)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		c, cancel := context.WithTimeout(ctx, l.ttl/3)
		err := l.again(c)
		cancel()
		if errors.Is(err, ErrLease) {
			l.mu.Lock()
			l.lost = true
			l.mu.Unlock()
			l.log.Error("the writer's lease of the sample log is lost: nothing is appended any more; stop the other writer and restart this one", slog.Any("error", err))
			return
		}
		if err != nil && ctx.Err() == nil {
			l.log.Warn("cannot renew the writer's lease of the sample log, trying again", slog.Any("error", err))
		}
	}
}

// again renews the lease, or takes it anew where it has ended and nobody else has it. An
// earlier renewal whose answer was lost counts.
func (l *lease) again(ctx context.Context) error {
	asked := time.Now()
	rev, err := l.kv.Update(ctx, leaseKey, []byte(l.owner), l.rev)
	if !errors.Is(err, jetstream.ErrKeyExists) {
		return l.note(rev, asked, err)
	}
	asked = time.Now()
	e, err := l.kv.Get(ctx, leaseKey)
	switch {
	case errors.Is(err, jetstream.ErrKeyNotFound):
		return l.create(ctx)
	case err != nil:
		return err
	case string(e.Value()) != l.owner:
		return fmt.Errorf("%w: %s", ErrLease, e.Value())
	}
	rev, err = l.kv.Update(ctx, leaseKey, []byte(l.owner), e.Revision())
	return l.note(rev, asked, err)
}

// release ends the lease.
func (l *lease) release(ctx context.Context) {
	l.stop()
	<-l.done
	l.mu.Lock()
	rev, lost := l.rev, l.lost
	l.mu.Unlock()
	if !lost {
		_ = l.kv.Delete(ctx, leaseKey, jetstream.LastRevision(rev))
	}
}
