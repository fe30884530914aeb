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
	leaseKey   = "writer"
	leaseTTL   = 15 * time.Second
	leaseWatch = 250 * time.Millisecond // how often a holder looks whether its lease still holds
)

// ErrLease is wrapped by Append, Open and Speaks when another process holds the log.
var ErrLease = errors.New("another writer holds the log")

// ErrDoubt is wrapped by Append and Speaks while the lease may have ended and the servers do
// not answer.
var ErrDoubt = errors.New("the writer's lease could not be renewed in time; trying again")

// lease is the right to append.
type lease struct {
	kv    jetstream.KeyValue
	owner string // no other lease has the same
	ttl   time.Duration
	log   *slog.Logger
	now   func() moment
	mine  func(ctx context.Context) error // nil while nobody else has held the lease since we took it
	stop  context.CancelFunc
	done  chan struct{}
	gone  chan struct{} // closed when the lease is lost for good

	mu    sync.Mutex
	rev   uint64
	asked moment // for the newest renewal: for ttl from then on no other writer can hold the lease
	lost  bool   // for good
}

// openLease takes the lease. The lease of a dead process on the same data folder, whose
// lock we hold, is taken over at once.
func (j *JetStream) openLease(ctx context.Context) error {
	ttl := j.opt.LeaseTTL
	if ttl <= 0 {
		ttl = leaseTTL
	}
	var kv jetstream.KeyValue
	err := j.replicas(ctx, "KV_"+j.names.lease, func(n int) (err error) {
		kv, err = j.js.CreateOrUpdateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: j.names.lease, TTL: ttl, Storage: jetstream.FileStorage, MaxBytes: 1 << 20, Replicas: n})
		return err
	})
	if err != nil {
		return fmt.Errorf("cannot make the writer's lease: %w", err)
	}
	if j.lease, err = j.takeLease(ctx, kv, ttl); err != nil {
		return err
	}
	if err := j.openTold(ctx); err != nil {
		return err
	}
	j.lease.begin(ctx)
	return nil
}

// takeLease acquires the lease, of an embedded log from whoever has it: the lock of the folder is ours. Else it
// waits until the lease of a dead holder has ended; one that is renewed meanwhile is another writer's.
func (j *JetStream) takeLease(ctx context.Context, kv jetstream.KeyValue, ttl time.Duration) (*lease, error) {
	host, _ := os.Hostname()
	log := j.opt.Logger
	l := &lease{kv: kv, ttl: ttl, log: log, now: clocks, done: make(chan struct{}), gone: make(chan struct{}),
		mine: func(context.Context) error { return nil }, owner: fmt.Sprintf("process %d on %s, %s", os.Getpid(), host, rand.Text()[:8])}
	if j.opt.URL == "" { // the lock of the folder holds while the machine sleeps, and whatever is done to its clock
		l.now = func() moment { return moment{mono: time.Now()} }
	}
	if j.opt.clocks != nil {
		l.now = j.opt.clocks
	}
	take := l.create
	if j.opt.URL == "" {
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
	return l, nil
}

// begin begins to renew the lease.
func (l *lease) begin(ctx context.Context) {
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	l.stop = stop
	go l.renew(run)
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
	asked := l.now()
	rev, err := l.kv.Create(ctx, leaseKey, []byte(l.owner))
	return l.note(rev, asked, err)
}

func (l *lease) put(ctx context.Context) error {
	asked := l.now()
	rev, err := l.kv.Put(ctx, leaseKey, []byte(l.owner))
	return l.note(rev, asked, err)
}

// note keeps a successful renewal. It counts from when it was asked for.
func (l *lease) note(rev uint64, asked moment, err error) error {
	if err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rev, l.asked = rev, asked
	return nil
}

// holds returns nil while no other writer can hold the lease. It is decided by the clocks
// alone, so that a process that was stopped knows it before anything else.
func (l *lease) holds() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.lost:
		return ErrLease
	case l.asked.since(l.now()) > l.ttl:
		return ErrDoubt
	}
	return nil
}

// lose ends the lease for good.
func (l *lease) lose(why error) {
	l.mu.Lock()
	if !l.lost {
		l.lost = true
		close(l.gone)
	}
	l.mu.Unlock()
	l.log.Error("the writer's lease of the sample log is lost: this process ends; the other writer goes on", slog.Any("error", why))
}

// due reports whether the lease wants to be renewed: after a third of its time, and at once where
// it is in doubt.
func (l *lease) due() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.asked.since(l.now()) > l.ttl/3
}

// renew keeps the lease until ctx ends; once another holder is found it is lost for good.
func (l *lease) renew(ctx context.Context) {
	defer close(l.done)
	t := time.NewTicker(min(leaseWatch, l.ttl/15))
	defer t.Stop()
	for said := (time.Time{}); ; {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		if !l.due() {
			continue
		}
		c, cancel := context.WithTimeout(ctx, l.ttl/3)
		err := l.again(c)
		cancel()
		if errors.Is(err, ErrLease) {
			l.lose(err)
			return
		}
		if err != nil && ctx.Err() == nil && time.Since(said) > l.ttl/3 {
			said = time.Now()
			l.log.Warn("cannot renew the writer's lease of the sample log, trying again", slog.Any("error", err))
		}
	}
}

// again renews the lease, or takes it anew where it has ended and nobody else has it. An
// earlier renewal whose answer was lost counts.
func (l *lease) again(ctx context.Context) error {
	asked := l.now()
	rev, err := l.kv.Update(ctx, leaseKey, []byte(l.owner), l.rev)
	if !errors.Is(err, jetstream.ErrKeyExists) {
		return l.note(rev, asked, err)
	}
	asked = l.now()
	e, err := l.kv.Get(ctx, leaseKey)
	switch {
	case errors.Is(err, jetstream.ErrKeyNotFound):
		return l.anew(ctx)
	case err != nil:
		return err
	case string(e.Value()) != l.owner:
		return fmt.Errorf("%w: %s", ErrLease, e.Value())
	}
	rev, err = l.kv.Update(ctx, leaseKey, []byte(l.owner), e.Revision())
	return l.note(rev, asked, err)
}

// anew acquires a lease that has ended. Where somebody else has held it meanwhile it is lost: what the
// other one has told must not be told again.
func (l *lease) anew(ctx context.Context) error {
	if err := l.mine(ctx); err != nil {
		return err
	}
	asked := l.now()
	rev, err := l.kv.Create(ctx, leaseKey, []byte(l.owner))
	if err != nil {
		return err
	}
	if err := l.mine(ctx); err != nil {
		_ = l.kv.Delete(ctx, leaseKey, jetstream.LastRevision(rev))
		return err
	}
	return l.note(rev, asked, nil)
}

// release ends the lease.
func (l *lease) release(ctx context.Context) {
	if l.stop != nil {
		l.stop()
		<-l.done
	}
	l.mu.Lock()
	rev, lost := l.rev, l.lost
	l.mu.Unlock()
	if !lost {
		_ = l.kv.Delete(ctx, leaseKey, jetstream.LastRevision(rev))
	}
}
