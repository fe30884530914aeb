// Package batch stands between the receipt of samples and the sample log: it groups
// records by partition, appends them, and acknowledges the messages they came from only
// afterwards, in the order of their receipt. Its queue is bounded; while it is full, Add
// blocks, and with it whoever reads from the broker.
package batch

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/letters"
)

// Defaults of Options.
const (
	DefaultMaxMessages = 4096
	DefaultMaxBytes    = 64 << 20
	DefaultRetryEvery  = time.Second
)

// longestRetry bounds the doubling wait between attempts to append.
const longestRetry = 10 * time.Second

// Appender is the part of the sample log that is needed here. An error means that the
// entry may be missing; it is appended again, so that it may come to be there twice.
type Appender interface {
	Append(ctx context.Context, partition int, records []station.Record) (uint64, error)
}

// Keeper is the part of the store of letters that is needed here. Keep returns once each letter is
// stored, or counted as lost; its error is ctx's.
type Keeper interface {
	Keep(ctx context.Context, list []letters.Letter) error
}

// Options of a Batcher.
type Options struct {
	Log         Appender
	Letters     Keeper        // of what AddLetter queues
	MaxMessages int           // bound on messages received and not yet stored, 0: 4096
	MaxBytes    int64         // bound on their bytes as given to Add, 0: 64 MiB
	RetryEvery  time.Duration // first wait after a failed append, doubling to 10 s; 0: 1 s
	Logger      *slog.Logger  // nil: none
}

// Batcher groups records and appends them. Add is safe for concurrent use; the order of
// one caller's records is kept.
type Batcher struct {
	opt Options
	log *slog.Logger

	mu      sync.Mutex
	queue   []item        // received, not yet taken by Run
	held    int           // messages queued and in the batch being stored
	bytes   int64         // of the held ones
	space   chan struct{} // closed, and replaced, when messages are let go
	figures Figures

	wake chan struct{} // holds a token while the queue has something new
}

// item is a message that waits: with a record, or with a letter, and is acknowledged in its turn.
type item struct {
	rec    station.Record
	letter *letters.Letter
	bytes  int64
	ack    func()
}

// Figures tell how the batcher does.
type Figures struct {
	Queue, QueueCap int           // messages received and not yet stored, and their bound
	Bytes, MaxBytes int64         // of those messages, and their bound
	Entries         int64         // appended since the start
	Appending       time.Duration // what that took, summed over partitions
	Records         int64
	Samples         int64
	Failures        int64  // failed appends
	Full            bool   // the log does not take records at present; nothing is acknowledged
	LastError       string // of the last failed append, also after it was overcome
}

// New gives a batcher; Run makes it work.
func New(opt Options) *Batcher {
	if opt.MaxMessages <= 0 {
		opt.MaxMessages = DefaultMaxMessages
	}
	if opt.MaxBytes <= 0 {
		opt.MaxBytes = DefaultMaxBytes
	}
	if opt.RetryEvery <= 0 {
		opt.RetryEvery = DefaultRetryEvery
	}
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	return &Batcher{opt: opt, log: opt.Logger, space: make(chan struct{}), wake: make(chan struct{}, 1)}
}

// Add queues a record that takes the given bytes, and has ack called, once, when the
// record and all before it are stored. It blocks while the queue is full and fails only
// when ctx ends; the message is then not acknowledged. A message larger than the bound on
// bytes is taken when nothing else waits. A record without blocks stores nothing, and is acknowledged in
// its turn.
func (b *Batcher) Add(ctx context.Context, rec station.Record, bytes int, ack func()) error {
	return b.add(ctx, item{rec: rec, bytes: int64(max(bytes, 0)), ack: ack})
}

// AddLetter has a letter stored instead of a record, and ack called in its turn. It blocks like Add.
func (b *Batcher) AddLetter(ctx context.Context, l letters.Letter, ack func()) error {
	return b.add(ctx, item{letter: &l, bytes: int64(len(l.Payload)), ack: ack})
}

// TryLetter is AddLetter for a letter that nobody waits for. It does nothing while the queue is full.
func (b *Batcher) TryLetter(l letters.Letter) {
	b.offer(item{letter: &l, bytes: int64(len(l.Payload))})
}

func (b *Batcher) add(ctx context.Context, it item) error {
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		space, ok := b.offer(it)
		if ok {
			return nil
		}
		select {
		case <-space:
		case <-ctx.Done():
		}
	}
}

// offer queues the item if there is room, and otherwise gives a channel that is closed
// when some has been made.
func (b *Batcher) offer(it item) (<-chan struct{}, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.held > 0 && (b.held >= b.opt.MaxMessages || b.bytes+it.bytes > b.opt.MaxBytes) {
		return b.space, false
	}
	b.queue = append(b.queue, it)
	b.held++
	b.bytes += it.bytes
	select {
	case b.wake <- struct{}{}:
	default:
	}
	return nil, true
}

// Full tells whether the log does not take records at present, because it is full or
// fails: nothing is acknowledged meanwhile.
func (b *Batcher) Full() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.figures.Full
}

// Figures gives the present figures.
func (b *Batcher) Figures() Figures {
	b.mu.Lock()
	defer b.mu.Unlock()
	f := b.figures
	f.Queue, f.QueueCap, f.Bytes, f.MaxBytes = b.held, b.opt.MaxMessages, b.bytes, b.opt.MaxBytes
	return f
}
