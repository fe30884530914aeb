package letters

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// room trims when the bytes, as far as they are known, pass the bound.
func (s *Store) room(ctx context.Context) error {
	s.mu.Lock()
	var sum int64
	for label, x := range s.streams {
		if label != Held {
			sum += x.bytes
		}
	}
	s.mu.Unlock()
	if sum <= s.opt.MaxBytes {
		return nil
	}
	return s.trim(ctx)
}

// errFull refuses letters that wait while too many do.
var errFull = errors.New("the store of messages that wait is full (refused.max_bytes)")

// roomToWait reports whether there is room for letters that wait.
func (s *Store) roomToWait(ctx context.Context) error {
	x, err := s.stream(ctx, Held)
	if err != nil {
		return err
	}
	s.mu.Lock()
	bytes := x.bytes
	s.mu.Unlock()
	if bytes <= s.opt.MaxBytes { // at most: what has passed is not taken off
		return nil
	}
	i, err := x.Info(ctx)
	if err != nil {
		return fmt.Errorf("cannot read how many messages wait: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if x.bytes = int64(i.State.Bytes); x.bytes > s.opt.MaxBytes {
		return errFull
	}
	return nil
}

// trim removes the oldest letters of the label that holds most, an eighth of it at a time, until
// the bound is kept.
func (s *Store) trim(ctx context.Context) error {
	for {
		most, sum, err := s.measure(ctx)
		if err != nil || sum <= s.opt.MaxBytes || most == nil {
			return err
		}
		st := most.CachedInfo().State
		if st.Msgs == 0 {
			return nil
		}
		to := st.FirstSeq + (st.LastSeq-st.FirstSeq)/8 + 1
		if err := most.Purge(ctx, jetstream.WithPurgeSequence(to)); err != nil {
			return fmt.Errorf("cannot make room for refused messages: %w", err)
		}
		i, err := most.Info(ctx)
		if err != nil {
			return fmt.Errorf("cannot make room for refused messages: %w", err)
		}
		s.mu.Lock()
		s.figures.Dropped += int64(st.Msgs - min(st.Msgs, i.State.Msgs))
		s.mu.Unlock()
	}
}

// measure asks for the size of each label, and returns the largest and the sum.
func (s *Store) measure(ctx context.Context) (most *stream, sum int64, err error) {
	for label, x := range s.all() {
		i, err := x.Info(ctx)
		if err != nil {
			return nil, 0, fmt.Errorf("cannot read how many messages are kept: %w", err)
		}
		s.mu.Lock()
		x.bytes = int64(i.State.Bytes)
		if label != Held {
			if sum += x.bytes; most == nil || x.bytes > most.bytes {
				most = x
			}
		}
		s.mu.Unlock()
	}
	return most, sum, nil
}
