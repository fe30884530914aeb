package samplelog

import (
	"context"
	"fmt"
	"log/slog"
	"strconv"
	"sync/atomic"

	"github.com/nats-io/nats.go"

	"strokewise/analyzer/station"
)

// previousHeader goes with each entry and names a position of its partition that was
// accepted before. A reader that has not seen it knows that entries are missing: the server
// skips what its files no longer hold (a bad checksum, a block cut short) without a word.
const previousHeader = "Sw-Previous"

// wholeness keeps what is needed to notice entries that went missing.
type wholeness struct {
	newest [station.Partitions]atomic.Uint64 // accepted position of each partition
	gaps   atomic.Int64
}

// accepted notes the position of an entry.
func (w *wholeness) accepted(partition int, position uint64) {
	for n := &w.newest[partition]; ; {
		old := n.Load()
		if old >= position || n.CompareAndSwap(old, position) {
			return
		}
	}
}

// header gives what goes with the next entry of a partition.
func (w *wholeness) header(partition int) string {
	return strconv.FormatUint(w.newest[partition].Load(), 10)
}

// openWhole finds the ends of the partitions, and says how many entries the stream lacks
// between its first and last position: entries are only ever removed from its beginning.
func (j *JetStream) openWhole(ctx context.Context) error {
	i, err := j.stream.Info(ctx)
	if err != nil {
		return fmt.Errorf("cannot read the size of the sample log: %w", err)
	}
	s := i.State
	if lacks := s.LastSeq + 1 - s.FirstSeq - s.Msgs; s.Msgs > 0 && lacks > 0 {
		j.whole.gaps.Add(1)
		j.opt.Logger.Error("the sample log's files are damaged: entries are missing, and what is rebuilt from the log lacks their samples; minutes already stored stay as they are",
			slog.Uint64("missing", lacks), slog.Uint64("first", s.FirstSeq), slog.Uint64("last", s.LastSeq))
	}
	var newest uint64
	for n := range station.Partitions {
		last, _, err := j.Last(ctx, n)
		if err != nil {
			return err
		}
		newest = max(newest, last)
		j.whole.accepted(n, last)
	}
	if s.Msgs > 0 && newest < s.LastSeq {
		j.whole.gaps.Add(1)
		j.opt.Logger.Error("the sample log's newest entries cannot be read, its files are damaged; their samples are missing from what is rebuilt",
			slog.Uint64("after", newest), slog.Uint64("last", s.LastSeq))
	}
	return nil
}

// Skip adds empty entries until positions go on after the given one: for a log that has
// lost its end, so that no position is given out a second time.
func (j *JetStream) Skip(ctx context.Context, to uint64) error {
	s, err := j.Size(ctx)
	for at := s.Last; err == nil && at < to; {
		at, err = j.Append(ctx, 0, nil)
	}
	if err != nil {
		return fmt.Errorf("cannot skip to position %d of the sample log: %w", to, err)
	}
	return nil
}

// look notices a gap before an entry, where the reader has come to position last (0: not
// known).
func (j *JetStream) look(partition int, last, position uint64, h nats.Header) {
	if h == nil || last == 0 {
		return
	}
	previous, err := strconv.ParseUint(h.Get(previousHeader), 10, 64)
	if err != nil || previous <= last {
		return
	}
	j.whole.gaps.Add(1)
	j.opt.Logger.Error("the sample log's files are damaged: entries are missing, their samples are lost; minutes already stored stay as they are",
		slog.Int("partition", partition), slog.Uint64("after", last), slog.Uint64("before", position))
}
