package samplelog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"sync/atomic"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

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
	ends   atomic.Int64 // entries that the log lost at its end
	holes  atomic.Int64 // the most entries that it has lacked between its ends
	mended int          // places in its files that were mended at the start, each at least an entry
}

// lost returns how many entries are known to be missing.
func (w *wholeness) lost() int64 { return w.ends.Load() + w.holes.Load() }

// lacks notes that so many entries are missing between the log's ends.
func (w *wholeness) lacks(n int64) {
	for {
		old := w.holes.Load()
		if old >= n || w.holes.CompareAndSwap(old, n) {
			return
		}
	}
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

// accepted notes an entry of so many bytes that the server has stored.
func (j *JetStream) accepted(partition int, position uint64, bytes int64) {
	j.mark.accepted(position)
	j.whole.accepted(partition, position)
	j.room.added.Add(bytes)
}

// missing returns how many entries a stream lacks between its first and last position: entries are
// only ever removed from its beginning.
func missing(s *jetstream.StreamState) int64 {
	if s.Msgs == 0 {
		return 0
	}
	return int64(s.LastSeq + 1 - s.FirstSeq - s.Msgs)
}

// openWhole finds the ends of the partitions, and says how many entries the stream lacks.
func (j *JetStream) openWhole(ctx context.Context) error {
	i, err := j.stream.Info(ctx)
	if err != nil {
		return fmt.Errorf("cannot read the size of the sample log: %w", err)
	}
	s := i.State
	if n := max(missing(&s), int64(j.whole.mended)); n > 0 {
		j.whole.gaps.Add(1)
		j.whole.lacks(n)
		j.opt.Logger.Error("the sample log's files are damaged: entries are missing, and what is rebuilt from the log lacks their samples; minutes already stored stay as they are",
			slog.Int64("missing", n), slog.Uint64("first", s.FirstSeq), slog.Uint64("last", s.LastSeq))
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

// MostLost is how many entries at its end a log may have lost, to a power cut or a damaged file,
// before it is taken for another log: several minutes of 200 entries a second.
const MostLost = 100_000

// openMark compares the stream's end with the newest position that was accepted. Where entries are
// gone, positions go on behind them: they must not be taken for what they replace.
func (j *JetStream) openMark(ctx context.Context) error {
	id, err := j.ID(ctx)
	if err != nil {
		return err
	}
	j.mark = openMarker(j.opt.Dir, j.opt.Logger)
	j.mark.belongs(id)
	s, err := j.measure(ctx)
	if err != nil {
		return err
	}
	to := j.mark.newest()
	if to > s.Last && to-s.Last <= MostLost {
		j.opt.Logger.Error("the sample log has lost its newest entries, its files are damaged; going on behind them. Their samples are missing from what was not concluded yet",
			slog.Uint64("lost", to-s.Last), slog.Uint64("log_ends_at", s.Last), slog.Uint64("accepted", to))
		return j.Skip(ctx, to)
	}
	j.mark.accepted(s.Last)
	return nil
}

// Skip adds empty entries until positions go on after the given one: for a log that has
// lost its end, so that no position is given out a second time. It counts what was lost.
func (j *JetStream) Skip(ctx context.Context, to uint64) error {
	s, err := j.measure(ctx)
	if err != nil {
		return err
	}
	if s.Last < to {
		j.whole.gaps.Add(1)
		j.whole.ends.Add(int64(to - s.Last))
	}
	for at := s.Last; at < to; {
		if at, err = j.fill(ctx); err != nil {
			return fmt.Errorf("cannot skip to position %d of the sample log: %w", to, err)
		}
	}
	return nil
}

// fill appends an empty entry.
func (j *JetStream) fill(ctx context.Context) (uint64, error) {
	data, err := Encode(nil)
	if err != nil {
		return 0, err
	}
	m := &nats.Msg{Subject: j.names.subject(0), Data: data, Header: nats.Header{previousHeader: {j.whole.header(0)}}}
	c, cancel := context.WithTimeout(ctx, answerWait)
	defer cancel()
	ack, err := j.js.PublishMsg(c, m)
	if err != nil {
		return 0, err
	}
	j.accepted(0, ack.Sequence, stored(m))
	return ack.Sequence, nil
}

// errAgain is wrapped by Append where the server had lost its end and stored the entry at a position
// that an earlier entry had. The entry must be appended again: where the earlier one is analysed,
// this one would be taken for it.
var errAgain = errors.New("the sample log had lost its newest entries; the entry is appended again behind them")

// again goes on behind the newest accepted position, and returns the error for the entry that was
// stored at an earlier one.
func (j *JetStream) again(ctx context.Context, partition int, position, newest uint64) error {
	j.opt.Logger.Error("the sample log has lost its newest entries while it was in use; going on behind them. Their samples are missing from what was not concluded yet",
		slog.Uint64("log_ended_at", position-1), slog.Uint64("accepted", newest))
	err := j.Skip(ctx, newest)
	return fmt.Errorf("cannot append to partition %d: %w", partition, errors.Join(errAgain, err))
}

// begin returns where a reader that asks for what follows a position begins: what was trimmed before
// it came is left out.
func (j *JetStream) begin(ctx context.Context, from uint64) (uint64, error) {
	c, cancel := context.WithTimeout(ctx, cmp.Or(j.opt.answersFor, answerWait))
	defer cancel()
	i, err := j.stream.Info(c)
	if err != nil || i.State.FirstSeq == 0 {
		return from, err
	}
	return max(from, i.State.FirstSeq-1), nil
}

// look notices a gap before an entry, where the reader has come to position last (0: not
// known). Entries that were trimmed are no damage: the reader gets ErrTrimmed.
func (j *JetStream) look(partition int, last, position uint64, h nats.Header) error {
	if h == nil || last == 0 {
		return nil
	}
	previous, err := strconv.ParseUint(h.Get(previousHeader), 10, 64)
	if err != nil || previous <= last {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), answerWait)
	defer cancel()
	i, err := j.stream.Info(ctx)
	if err == nil && (i.State.FirstSeq > previous || i.State.Msgs == 0) {
		return fmt.Errorf("cannot read partition %d of the sample log behind position %d, the log begins at %d now: %w", partition, last, i.State.FirstSeq, ErrTrimmed)
	}
	if err == nil {
		j.whole.lacks(max(1, missing(&i.State)))
	}
	j.whole.gaps.Add(1)
	j.opt.Logger.Error("the sample log's files are damaged: entries are missing, their samples are lost; minutes already stored stay as they are",
		slog.Int("partition", partition), slog.Uint64("after", last), slog.Uint64("before", position))
	return nil
}
