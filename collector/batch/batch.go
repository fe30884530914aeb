// Package batch carries records from the MQTT handler into the sample log: whatever waits
// is appended together, and a message is acknowledged only once the log has it.
package batch

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
)

// Bounds of what waits and of one entry.
const (
	defaultMessages = 4096
	defaultBytes    = 64 << 20
	maxDrain        = 2048      // messages appended together
	entryBytes      = 512 << 10 // of samples in one entry, before coding
	recordOverhead  = 64
	pieceSamples    = 16384 // of one record; at most 20 bytes each once coded
	retryFirst      = time.Second
	retryMost       = 10 * time.Second
	sayAgain        = time.Minute
)

// Appender is the part of the sample log that is needed here.
type Appender interface {
	Append(ctx context.Context, partition int, records []station.Record) (uint64, error)
}

// Options of a Batcher.
type Options struct {
	Log      Appender
	Messages int   // that may wait, 0: 4096
	Bytes    int64 // of samples that may wait, 0: 64 MiB
	Retry    time.Duration
	Logger   *slog.Logger
}

// Batcher appends records in the order in which they were added. Add is safe for
// concurrent use; Run must be called once.
type Batcher struct {
	opt   Options
	queue chan item
	room  *room

	entries, samples atomic.Int64
	stuck            atomic.Bool
	lastErr          atomic.Value // string
}

// item is one message; without blocks it waits only for its turn to be acknowledged.
type item struct {
	rec   station.Record
	bytes int64
	ack   func()
}

// New gives a batcher.
func New(opt Options) *Batcher {
	if opt.Messages <= 0 {
		opt.Messages = defaultMessages
	}
	if opt.Bytes <= 0 {
		opt.Bytes = defaultBytes
	}
	if opt.Retry <= 0 {
		opt.Retry = retryFirst
	}
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	return &Batcher{opt: opt, queue: make(chan item, opt.Messages), room: newRoom(opt.Bytes)}
}

// size estimates the bytes of a record's samples.
func size(r *station.Record) int64 {
	n := int64(recordOverhead)
	for i := range r.Blocks {
		n += recordOverhead + 8*int64(len(r.Blocks[i].Values)+len(r.Blocks[i].Times))
	}
	return n
}

// Add queues a record; ack is called once the log has it. It blocks while the queue is
// full, which is what holds an MQTT handler back.
func (b *Batcher) Add(ctx context.Context, rec station.Record, ack func()) error {
	n := size(&rec)
	if err := b.room.take(ctx, n); err != nil {
		return err
	}
	return b.put(ctx, item{rec, n, ack})
}

// Pass queues the acknowledgement of a message that holds nothing for the log, so that
// messages are acknowledged in the order in which they came.
func (b *Batcher) Pass(ctx context.Context, ack func()) error {
	return b.put(ctx, item{ack: ack})
}

func (b *Batcher) put(ctx context.Context, i item) error {
	select {
	case b.queue <- i:
		return nil
	case <-ctx.Done():
		b.room.give(i.bytes)
		return ctx.Err()
	}
}

// Run appends until ctx ends. What waits then is not acknowledged; brokers send it again.
func (b *Batcher) Run(ctx context.Context) error {
	var drained []item
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case i := <-b.queue:
			drained = b.drain(append(drained[:0], i))
		}
		if err := b.store(ctx, drained); err != nil {
			return err
		}
		for k := range drained {
			drained[k].ack()
			b.room.give(drained[k].bytes)
			drained[k] = item{}
		}
	}
}

// drain takes whatever else waits, without lingering.
func (b *Batcher) drain(to []item) []item {
	for len(to) < maxDrain {
		select {
		case i := <-b.queue:
			to = append(to, i)
		default:
			return to
		}
	}
	return to
}

// store appends the records of the items, partition by partition, and tries again until
// the log has all or ctx ends.
func (b *Batcher) store(ctx context.Context, items []item) error {
	var parts [station.Partitions][]station.Record
	for i := range items {
		if r := &items[i].rec; len(r.Blocks) > 0 {
			p := r.Key.Partition()
			parts[p] = split(parts[p], r)
		}
	}
	wait := b.opt.Retry
	var said time.Time
	for {
		err := b.appendAll(ctx, &parts)
		if err == nil {
			if b.stuck.Swap(false) {
				b.opt.Logger.Info("the sample log takes records again")
			}
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		b.stuck.Store(true)
		b.lastErr.Store(err.Error())
		if time.Since(said) > sayAgain {
			b.opt.Logger.Error("the sample log does not take records: nothing is acknowledged until it does", "error", err)
			said = time.Now()
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(wait):
		}
		wait = min(2*wait, retryMost)
	}
}

// appendAll appends each partition's records concurrently and clears those that the log
// has taken.
func (b *Batcher) appendAll(ctx context.Context, parts *[station.Partitions][]station.Record) error {
	var errs [station.Partitions]error
	var wg sync.WaitGroup
	busy, last := 0, 0
	for p := range parts {
		if len(parts[p]) > 0 {
			busy, last = busy+1, p
		}
	}
	if busy == 1 { // the usual case needs no goroutine
		errs[last] = b.appendPart(ctx, last, &parts[last])
		return errs[last]
	}
	for p := range parts {
		if len(parts[p]) > 0 {
			wg.Go(func() { errs[p] = b.appendPart(ctx, p, &parts[p]) })
		}
	}
	wg.Wait()
	return errors.Join(errs[:]...)
}

// appendPart appends the records in entries of bounded size.
func (b *Batcher) appendPart(ctx context.Context, p int, records *[]station.Record) error {
	for len(*records) > 0 {
		n, bytes := 0, int64(0)
		for n < len(*records) {
			bytes += size(&(*records)[n])
			if n > 0 && bytes > entryBytes {
				break
			}
			n++
		}
		entry := (*records)[:n]
		if _, err := b.opt.Log.Append(ctx, p, entry); err != nil {
			return err
		}
		b.entries.Add(1)
		for i := range entry {
			for j := range entry[i].Blocks {
				b.samples.Add(int64(entry[i].Blocks[j].Len()))
			}
		}
		*records = (*records)[n:]
	}
	return nil
}

// Figures are a batcher's own.
type Figures struct {
	Queue, QueueCap  int
	Entries, Samples int64
	Stuck            bool   // the log does not take records
	LastError        string // of the newest time that it did not
}

// Figures gives the batcher's figures.
func (b *Batcher) Figures() Figures {
	last, _ := b.lastErr.Load().(string)
	return Figures{len(b.queue), cap(b.queue), b.entries.Load(), b.samples.Load(), b.stuck.Load(), last}
}

// split appends a record to dst, cut into pieces where its blocks are long: an entry has
// a bound, and what the samples mean does not depend on how they are cut.
func split(dst []station.Record, r *station.Record) []station.Record {
	n := 0
	for i := range r.Blocks {
		n += r.Blocks[i].Len()
	}
	if n <= pieceSamples {
		return append(dst, *r)
	}
	for i := range r.Blocks {
		b := &r.Blocks[i]
		for from := 0; from < b.Len(); from += pieceSamples {
			to := min(from+pieceSamples, b.Len())
			piece := *b
			piece.Start, piece.Values = b.At(from), b.Values[from:to]
			if b.Times != nil {
				piece.Times = b.Times[from:to]
			}
			one := *r
			one.Blocks = []station.Block{piece}
			dst = append(dst, one)
		}
	}
	return dst
}
