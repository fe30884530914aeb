package samplelog

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/nats-io/nats.go/jetstream"
)

const (
	holderKey = "holder" // who took the lease last
	toldKey   = "told"   // what receivers of notifications have been told of
	toldMost  = 900 << 10
)

// told is what a holder of the log leaves for the next one. It outlives the lease. Without it
// a process with a history of its own would tell people everything again that the log holds.
type told struct {
	kv jetstream.KeyValue // nil: an embedded log, which has one history

	mu   sync.Mutex
	rev  uint64 // of the newest text, 0: there is none
	text []byte // as it was when we took the lease
}

// openTold names us as the holder and reads what the one before has left.
func (j *JetStream) openTold(ctx context.Context) error {
	if j.opt.URL == "" {
		return nil
	}
	var kv jetstream.KeyValue
	err := j.replicas(ctx, "KV_"+j.names.told, func(n int) (err error) {
		kv, err = j.js.CreateOrUpdateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: j.names.told, Storage: jetstream.FileStorage, MaxBytes: 16 << 20, Replicas: n})
		return err
	})
	if err != nil {
		return fmt.Errorf("cannot make the record of what was told: %w", err)
	}
	if _, err := kv.Put(ctx, holderKey, []byte(j.lease.owner)); err != nil {
		return fmt.Errorf("cannot note the holder of the sample log: %w", err)
	}
	switch e, err := kv.Get(ctx, toldKey); {
	case errors.Is(err, jetstream.ErrKeyNotFound):
	case err != nil:
		return fmt.Errorf("cannot read what was told: %w", err)
	default:
		j.told.rev = e.Revision()
		if j.told.text, err = j.opened(e.Value()); err != nil {
			j.opt.Logger.Error("what the last holder of the sample log has told is not believed: it is told again", "error", err)
		}
	}
	j.told.kv = kv
	j.lease.mine = j.isHolder
	return nil
}

// sealed returns a text with its MAC in front, where there is a key.
func (j *JetStream) sealed(text []byte) []byte {
	if len(j.opt.Keys) == 0 {
		return text
	}
	return append([]byte(j.opt.Keys[0].sign([]byte("told"), text)+"\n"), text...)
}

// opened returns a sealed text. Whoever could forge one could keep people from being told.
func (j *JetStream) opened(text []byte) ([]byte, error) {
	if len(j.opt.Keys) == 0 {
		return text, nil
	}
	mac, rest, _ := bytes.Cut(text, []byte("\n"))
	if err := keys(j.opt.Keys).verify(string(mac), []byte("told"), rest); err != nil {
		return nil, err
	}
	return rest, nil
}

// isHolder returns nil where nobody has taken the lease since we did.
func (j *JetStream) isHolder(ctx context.Context) error {
	e, err := j.told.kv.Get(ctx, holderKey)
	switch {
	case errors.Is(err, jetstream.ErrKeyNotFound):
		return nil
	case err != nil:
		return err
	case string(e.Value()) != j.lease.owner:
		return fmt.Errorf("%w, or has held it meanwhile: %s", ErrLease, e.Value())
	}
	return nil
}

// Shared reports whether other machines can reach the log, so that the lease decides who speaks.
// An embedded log belongs to whoever has locked its folder.
func (j *JetStream) Shared() bool { return j.opt.URL != "" }

// Speaks returns nil while this process is the one that concludes, tells and serves. It
// wraps ErrDoubt while that is not sure, and ErrLease once another process has taken over.
func (j *JetStream) Speaks() error {
	err := j.lease.holds()
	if errors.Is(err, ErrDoubt) && !j.Shared() {
		return nil
	}
	return err
}

// Lost is closed when another process has taken over.
func (j *JetStream) Lost() <-chan struct{} { return j.lease.gone }

// Told returns what the holder before us left by SetTold, nil where there is nothing.
func (j *JetStream) Told() []byte { return j.told.text }

// SetTold leaves a text for the next holder. It fails once another process has left one.
func (j *JetStream) SetTold(ctx context.Context, text []byte) error {
	if j.told.kv == nil {
		return nil
	}
	if len(text) > toldMost {
		return fmt.Errorf("cannot note what was told: %d bytes, at most %d are possible", len(text), toldMost)
	}
	if err := j.lease.holds(); err != nil {
		return fmt.Errorf("cannot note what was told: %w", err)
	}
	j.told.mu.Lock()
	defer j.told.mu.Unlock()
	c, cancel := context.WithTimeout(ctx, answerWait)
	defer cancel()
	text = j.sealed(text)
	rev, err := j.told.kv.Update(c, toldKey, text, j.told.rev)
	if errors.Is(err, jetstream.ErrKeyExists) { // or the answer to the last one was lost
		if err = j.isHolder(c); err == nil {
			rev, err = j.told.kv.Put(c, toldKey, text)
		}
	}
	if err != nil {
		return fmt.Errorf("cannot note what was told: %w", err)
	}
	j.told.rev = rev
	return nil
}
