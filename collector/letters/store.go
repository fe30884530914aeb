package letters

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"strokewise/collector/samplelog"
)

// Held is the name of the stream of letters that wait, where a label is asked for.
const Held Label = "held"

const (
	chunk = 256 // letters published before their answers are waited for

	// keepWithin is how long refused letters of one batch may take; sound messages of the batch
	// wait for them.
	keepWithin = 2 * time.Second
	retryEvery = time.Second // of letters that wait
)

// Options of a Store.
type Options struct {
	Log      *samplelog.JetStream
	MaxBytes int64 // of all refused letters together, and once more of those that wait
	Logger   *slog.Logger
}

// Store keeps letters: a stream a label, and one of those that wait. When the refused ones
// together pass the bound, the label that holds most bytes loses its oldest. So a flood of one
// label pushes out no other that holds less.
type Store struct {
	opt    Options
	beside *samplelog.Beside

	mu      sync.Mutex
	streams map[Label]*stream
	figures Figures
}

// stream is that of a label.
type stream struct {
	jetstream.Stream
	bytes int64 // at most, as far as is known
}

// Figures tell how a store does, over the life of the process.
type Figures struct {
	Kept      int64
	Lost      int64 // refused letters that could not be stored
	Dropped   int64 // the oldest, to make room
	Stuck     bool  // letters that wait cannot be stored; nothing is acknowledged
	LastError string
	Failing   bool // the newest attempt to store failed
}

// Open opens the store.
func Open(ctx context.Context, opt Options) (*Store, error) {
	b, err := opt.Log.Beside()
	if err != nil {
		return nil, err
	}
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	s := &Store{opt: opt, beside: b, streams: make(map[Label]*stream)}
	if _, err := s.stream(ctx, Held); err != nil {
		return nil, err
	}
	names := b.JS.StreamNames(ctx)
	for name := range names.Name() {
		if label, ok := strings.CutPrefix(name, b.Name("refused_")); ok {
			if _, err := s.stream(ctx, Label(label)); err != nil {
				return nil, err
			}
		}
	}
	if err := names.Err(); err != nil {
		return nil, fmt.Errorf("cannot list the kept messages: %w", err)
	}
	return s, s.trim(ctx)
}

// names returns what the stream of a label is called, and its subject.
func (s *Store) names(label Label) (stream, subject string) {
	if label == Held {
		return s.beside.Name("held"), s.beside.Subject("held")
	}
	return s.beside.Name("refused_" + string(label)), s.beside.Subject("refused." + string(label))
}

// stream returns the stream of a label, and makes it at its first letter.
func (s *Store) stream(ctx context.Context, label Label) (*stream, error) {
	s.mu.Lock()
	have := s.streams[label]
	s.mu.Unlock()
	if have != nil {
		return have, nil
	}
	name, subject := s.names(label)
	c := jetstream.StreamConfig{Name: name, Subjects: []string{subject}, Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy,
		Discard: jetstream.DiscardNew, AllowDirect: true, Description: "strokewise refused messages, see the project's documentation"}
	if label == Held {
		c.Description = "strokewise messages that wait, see the project's documentation"
	}
	made, err := s.beside.Stream(ctx, c)
	if err != nil {
		return nil, err
	}
	x := &stream{Stream: made, bytes: int64(made.CachedInfo().State.Bytes)}
	s.mu.Lock()
	defer s.mu.Unlock()
	if have := s.streams[label]; have != nil {
		return have, nil
	}
	s.streams[label] = x
	return x, nil
}

// Figures returns the present figures.
func (s *Store) Figures() Figures {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.figures
}

// Keep stores letters and returns when they are stored. Refused ones that cannot be stored within
// two seconds are counted as lost: garbage must not hold up a plant. Those that wait are tried
// until they are stored or ctx ends, whose error it returns.
func (s *Store) Keep(ctx context.Context, list []Letter) error {
	var held, refused []Letter
	for i := range list {
		if list[i].Held {
			held = append(held, list[i])
		} else {
			refused = append(refused, list[i])
		}
	}
	s.keepRefused(ctx, refused)
	return s.hold(ctx, held)
}

func (s *Store) keepRefused(ctx context.Context, list []Letter) {
	if len(list) == 0 {
		return
	}
	c, cancel := context.WithTimeout(ctx, keepWithin)
	defer cancel()
	n, err := s.publish(c, list)
	s.note(int64(n), int64(len(list)-n), err)
}

func (s *Store) note(kept, lost int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f := &s.figures
	f.Kept += kept
	f.Lost += lost
	if f.Failing = err != nil; err != nil {
		f.LastError = err.Error()
	}
}

// hold stores letters that wait, in order.
func (s *Store) hold(ctx context.Context, list []Letter) error {
	for logged := (time.Time{}); len(list) > 0; {
		n, err := s.publish(ctx, list)
		s.note(int64(n), 0, err)
		list = list[n:]
		s.mu.Lock()
		s.figures.Stuck = err != nil
		s.mu.Unlock()
		if err == nil {
			continue
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if time.Since(logged) > time.Minute {
			logged = time.Now()
			s.opt.Logger.Error("messages that wait cannot be stored: nothing is acknowledged and the broker must keep them; raise refused.max_bytes, or see the log's disk and server", "error", err, "waiting", len(list))
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(retryEvery):
		}
	}
	return nil
}

// publish stores letters in order, and returns how many of the first are stored.
func (s *Store) publish(ctx context.Context, list []Letter) (int, error) {
	for done := 0; done < len(list); {
		part := list[done:min(done+chunk, len(list))]
		n, err := s.publishSome(ctx, part)
		if done += n; err != nil {
			return done, err
		}
		if err := s.room(ctx); err != nil {
			return done, err
		}
	}
	return len(list), nil
}

func (s *Store) publishSome(ctx context.Context, list []Letter) (int, error) {
	answers := make([]jetstream.PubAckFuture, 0, len(list))
	if list[0].Held {
		if err := s.roomToWait(ctx); err != nil {
			return 0, err
		}
	}
	var failed error
	for i := range list {
		a, err := s.send(ctx, &list[i])
		if err != nil {
			failed = err
			break
		}
		answers = append(answers, a)
	}
	for i, a := range answers {
		select {
		case <-a.Ok():
		case err := <-a.Err():
			return i, fmt.Errorf("cannot keep a message: %w", err)
		case <-ctx.Done():
			return i, fmt.Errorf("cannot keep a message: %w", context.Cause(ctx))
		}
	}
	return len(answers), failed
}

func (s *Store) send(ctx context.Context, l *Letter) (jetstream.PubAckFuture, error) {
	label := l.Label
	if l.Held {
		label = Held
	}
	x, err := s.stream(ctx, label)
	if err != nil {
		return nil, err
	}
	data := l.encode()
	_, subject := s.names(label)
	a, err := s.beside.JS.PublishAsync(subject, data)
	if err != nil {
		return nil, fmt.Errorf("cannot keep a message: %w", err)
	}
	s.mu.Lock()
	x.bytes += int64(len(data)) + perLetter
	s.mu.Unlock()
	return a, nil
}

// perLetter is at least what a stream adds to an entry, bytes.
const perLetter = 96

func (s *Store) all() map[Label]*stream {
	s.mu.Lock()
	defer s.mu.Unlock()
	return maps.Clone(s.streams)
}

var errNone = errors.New("no message is kept under this reason")

func (s *Store) known(label Label) (*stream, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if x := s.streams[label]; x != nil {
		return x, nil
	}
	return nil, fmt.Errorf("%w: %.60q; strokewise refused list shows the reasons", errNone, label)
}
