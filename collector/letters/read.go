package letters

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// Sum is what is kept under a label.
type Sum struct {
	Label          Label
	Messages       int64
	Bytes          int64
	Oldest, Newest station.Instant // arrivals
}

// Sums returns what is kept by reason, the most first; reasons without any are left out.
func (s *Store) Sums(ctx context.Context) ([]Sum, error) {
	var out []Sum
	for label, x := range s.all() {
		i, err := x.Info(ctx)
		if err != nil {
			return nil, fmt.Errorf("cannot read how many messages are kept: %w", err)
		}
		st := i.State
		if st.Msgs == 0 {
			continue
		}
		m := Sum{Label: label, Messages: int64(st.Msgs), Bytes: int64(st.Bytes)}
		if l, err := get(ctx, x, st.FirstSeq); err == nil {
			m.Oldest = l.Arrival
		}
		if l, err := get(ctx, x, st.LastSeq); err == nil {
			m.Newest = l.Arrival
		}
		out = append(out, m)
	}
	slices.SortFunc(out, func(a, b Sum) int {
		if a.Messages != b.Messages {
			return int(b.Messages - a.Messages)
		}
		return strings.Compare(string(a.Label), string(b.Label))
	})
	return out, nil
}

// Waiting returns how many letters wait.
func (s *Store) Waiting(ctx context.Context) (int64, error) {
	x, err := s.known(Held)
	if err != nil {
		return 0, err
	}
	i, err := x.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("cannot read how many messages wait: %w", err)
	}
	return int64(i.State.Msgs), nil
}

func get(ctx context.Context, x *stream, position uint64) (Letter, error) {
	m, err := x.GetMsg(ctx, position)
	if err != nil {
		return Letter{}, err
	}
	l, err := decode(m.Data)
	l.Position = m.Sequence
	return l, err
}

// Latest returns up to most letters of a label, newest first.
func (s *Store) Latest(ctx context.Context, label Label, most int) ([]Letter, error) {
	x, err := s.known(label)
	if err != nil {
		return nil, err
	}
	i, err := x.Info(ctx)
	if err != nil {
		return nil, fmt.Errorf("cannot read kept messages: %w", err)
	}
	var out []Letter
	for at, tries := i.State.LastSeq, 8*most; at >= i.State.FirstSeq && at > 0 && len(out) < most && tries > 0; at, tries = at-1, tries-1 {
		l, err := get(ctx, x, at)
		switch {
		case errors.Is(err, jetstream.ErrMsgNotFound), errors.Is(err, errLetter):
			continue
		case err != nil:
			return out, fmt.Errorf("cannot read kept messages: %w", err)
		}
		out = append(out, l)
	}
	return out, nil
}

// readWithin is how long a letter that is there may take to come.
const readWithin = 10 * time.Second

// course reads a reason's letters, up to the one that was the newest at the begin.
type course struct {
	label Label
	it    jetstream.MessagesContext
	last  uint64 // position of the newest at the begin
	next  *Letter
	done  bool
}

// Read calls fn for each letter of the reasons that there is now, in the order of their arrivals
// on this process's monotonic clock where they are of one process. Letters that cannot be read are
// removed and counted as lost.
func (s *Store) Read(ctx context.Context, labels []Label, fn func(l *Letter, label Label) error) error {
	var open []*course
	defer func() {
		for _, c := range open {
			c.it.Stop()
		}
	}()
	for _, label := range labels {
		c, err := s.course(ctx, label)
		if err != nil {
			return err
		}
		if c == nil {
			continue
		}
		if open = append(open, c); c.next == nil {
			if err := s.advance(ctx, c); err != nil {
				return err
			}
		}
	}
	for {
		var first *course
		for _, c := range open {
			if c.next != nil && (first == nil || before(c.next, first.next)) {
				first = c
			}
		}
		if first == nil {
			return nil
		}
		l := first.next
		if err := s.advance(ctx, first); err != nil {
			return err
		}
		if err := fn(l, first.label); err != nil {
			return err
		}
	}
}

func before(a, b *Letter) bool {
	if a.Run == b.Run {
		return a.Mono < b.Mono
	}
	return a.Arrival < b.Arrival
}

// course begins to read a reason; nil where nothing is kept of it.
func (s *Store) course(ctx context.Context, label Label) (*course, error) {
	x, err := s.known(label)
	if errors.Is(err, errNone) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	i, err := x.Info(ctx)
	if err != nil {
		return nil, fmt.Errorf("cannot read kept messages: %w", err)
	}
	if i.State.Msgs == 0 {
		return nil, nil
	}
	r, err := x.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverAllPolicy})
	if err != nil {
		return nil, fmt.Errorf("cannot read kept messages: %w", err)
	}
	it, err := r.Messages(jetstream.PullMaxMessagesWithBytesLimit(256, 3<<19))
	if err != nil {
		return nil, fmt.Errorf("cannot read kept messages: %w", err)
	}
	return &course{label: label, it: it, last: i.State.LastSeq}, nil
}

// advance reads the next letter of a course.
func (s *Store) advance(ctx context.Context, c *course) error {
	for c.next = nil; !c.done; {
		m, err := samplelog.Next(ctx, c.it, readWithin)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return fmt.Errorf("cannot read kept messages of %s: %w", c.label, err)
		}
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("cannot read kept messages of %s: %w", c.label, err)
		}
		c.done = meta.NumPending == 0 || meta.Sequence.Stream >= c.last
		l, err := decode(m.Data())
		if err != nil {
			s.opt.Logger.Error("a kept message cannot be read and is removed", "reason", c.label, "position", meta.Sequence.Stream, "error", err)
			s.note(0, 1, err)
			if err := s.Remove(ctx, c.label, meta.Sequence.Stream); err != nil {
				return err
			}
			continue
		}
		l.Position = meta.Sequence.Stream
		c.next = &l
		return nil
	}
	return nil
}

// Remove removes a letter.
func (s *Store) Remove(ctx context.Context, label Label, position uint64) error {
	x, err := s.known(label)
	if err != nil {
		return err
	}
	if err := x.DeleteMsg(ctx, position); err != nil && !errors.Is(err, jetstream.ErrMsgNotFound) {
		return fmt.Errorf("cannot remove a kept message of %s: %w", label, err)
	}
	return nil
}

// RemoveTo removes the letters of a label up to a position.
func (s *Store) RemoveTo(ctx context.Context, label Label, position uint64) error {
	x, err := s.known(label)
	if err != nil {
		return err
	}
	if err := x.Purge(ctx, jetstream.WithPurgeSequence(position+1)); err != nil {
		return fmt.Errorf("cannot remove kept messages of %s: %w", label, err)
	}
	return nil
}

// Discard removes all letters of a label, and returns how many there were.
func (s *Store) Discard(ctx context.Context, label Label) (int64, error) {
	x, err := s.known(label)
	if err != nil {
		return 0, err
	}
	i, err := x.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("cannot discard kept messages: %w", err)
	}
	return int64(i.State.Msgs), s.RemoveTo(ctx, label, i.State.LastSeq)
}
