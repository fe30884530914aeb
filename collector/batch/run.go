package batch

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"strokewise/collector/letters"
	"strokewise/collector/samplelog"
)

// quiet is how long a failure that goes on is not logged again.
const quiet = time.Minute

// Run stores what is queued until ctx ends, and returns ctx's error. Whatever is then
// not stored is not acknowledged. It takes all that waits at once, without waiting for
// more: batches grow by themselves while the log is slow. Call it once.
func (b *Batcher) Run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-b.wake:
		}
		items := b.take()
		if err := b.storeAll(ctx, items); err != nil {
			return err
		}
		b.letGo(items)
		for i := range items {
			if items[i].ack != nil {
				items[i].ack()
			}
		}
	}
}

// storeAll stores the records of a batch, and beside that its letters.
func (b *Batcher) storeAll(ctx context.Context, items []item) error {
	list := kept(items)
	if len(list) == 0 {
		return b.store(ctx, shares(items))
	}
	done := make(chan error, 1)
	go func() { done <- b.opt.Letters.Keep(ctx, list) }()
	return errors.Join(b.store(ctx, shares(items)), <-done)
}

// kept returns the letters of a batch, in order.
func kept(items []item) (out []letters.Letter) {
	for i := range items {
		if l := items[i].letter; l != nil {
			out = append(out, *l)
		}
	}
	return out
}

// take gives all that is queued.
func (b *Batcher) take() []item {
	b.mu.Lock()
	defer b.mu.Unlock()
	items := b.queue
	b.queue = nil
	return items
}

// letGo makes room for as much as the items held, before they are acknowledged: a reader
// that waits here can then go on to read what the broker writes while we write to it.
func (b *Batcher) letGo(items []item) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.held -= len(items)
	for i := range items {
		b.bytes -= items[i].bytes
	}
	close(b.space)
	b.space = make(chan struct{})
}

// store appends the shares, those that fail again and again until all are stored or ctx
// ends.
func (b *Batcher) store(ctx context.Context, todo []*share) error {
	var since, logged time.Time
	wait := b.opt.RetryEvery
	for {
		left, err := b.attempt(ctx, todo)
		if len(left) == 0 {
			if !since.IsZero() {
				b.recovered(time.Since(since))
			}
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		now := time.Now()
		if since.IsZero() {
			since = now
		}
		if b.failed(err); logged.IsZero() || now.Sub(logged) >= quiet {
			logged = now
			b.report(err, len(left), now.Sub(since), wait)
		}
		if !sleep(ctx, wait) {
			return ctx.Err()
		}
		todo, wait = left, min(2*wait, max(longestRetry, b.opt.RetryEvery))
	}
}

// attempt appends the shares, all partitions at once, and gives those that are not
// wholly stored, with one of the errors.
func (b *Batcher) attempt(ctx context.Context, todo []*share) ([]*share, error) {
	errs := make([]error, len(todo))
	if len(todo) == 1 {
		errs[0] = b.append(ctx, todo[0])
	} else {
		var wg sync.WaitGroup
		for i, s := range todo {
			wg.Go(func() { errs[i] = b.append(ctx, s) })
		}
		wg.Wait()
	}
	var left []*share
	var first error
	for i, err := range errs {
		if err == nil {
			continue
		}
		left = append(left, todo[i])
		if first == nil || errors.Is(err, samplelog.ErrFull) {
			first = err
		}
	}
	return left, first
}

// append stores a share's entries in order and strikes out each that is stored.
func (b *Batcher) append(ctx context.Context, s *share) error {
	for len(s.entries) > 0 {
		records := s.entries[0]
		began := time.Now()
		if _, err := b.opt.Log.Append(ctx, s.partition, records); err != nil {
			return err
		}
		s.entries = s.entries[1:]
		took := time.Since(began)
		b.mu.Lock()
		b.figures.Entries++
		b.figures.Appending += took
		b.figures.Records += int64(len(records))
		for i := range records {
			b.figures.Samples += int64(records[i].Samples())
		}
		b.mu.Unlock()
	}
	return nil
}

func (b *Batcher) failed(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.figures.Failures++
	b.figures.Full, b.figures.LastError = true, err.Error()
}

func (b *Batcher) recovered(after time.Duration) {
	b.mu.Lock()
	b.figures.Full = false
	b.mu.Unlock()
	b.log.Info("sample log takes records again; acknowledging again", slog.Duration("after", after.Round(time.Millisecond)))
}

func (b *Batcher) report(err error, partitions int, lasting, wait time.Duration) {
	hint := "trying again; see the log's disk and server"
	if errors.Is(err, samplelog.ErrFull) {
		hint = "the log is full of samples that are not analysed yet: see /readyz for the partition that is behind and why, or raise log.max_bytes"
	}
	b.log.Error("cannot store samples: no message is acknowledged and the broker must keep them", slog.Any("error", err),
		slog.Int("partitions", partitions), slog.Duration("lasting", lasting.Round(time.Second)), slog.Duration("retry_in", wait), slog.String("hint", hint))
}

// sleep waits, and tells whether ctx has not ended.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
