package samplelog

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"sync/atomic"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"strokewise/analyzer/station"
)

// Shares of max_bytes that whoever trims the log works with: above TrimAbove the oldest entries go,
// down to TrimTo. Own choice: between them lie hours of a log that holds days, so that trimming is
// rare, and what is kept stays close to what was configured.
const (
	TrimAbove = 0.95
	TrimTo    = 0.90
)

// reserveShare is the part of max_bytes, mostReserve bytes at most, that samples leave to what the
// program and people add: plate data and ticks may use half of it, people's words all. A tick takes
// some 100 bytes, so that half of the least reserve (256 KiB) lasts for hours.
const (
	reserveShare = 64
	mostReserve  = 64 << 20
)

// ForSamples returns how many bytes the log may hold once samples are added.
func ForSamples(maxBytes int64) int64 { return maxBytes - min(maxBytes/reserveShare, mostReserve) }

// Weight returns how many bytes an entry takes in the log, 0 for one that cannot be encoded.
func Weight(records []station.Record) int64 {
	data, err := Encode(records)
	if err != nil {
		return 0
	}
	return stored(&nats.Msg{Subject: usualNames.subject(station.Partitions - 1), Data: data, Header: nats.Header{previousHeader: {strconv.FormatUint(math.MaxUint64, 10)}}})
}

// bound returns how many bytes the log may hold once records like these are added; 0: no bound.
func bound(maxBytes int64, records []station.Record) int64 {
	if maxBytes <= 0 {
		return 0
	}
	reserve := maxBytes - ForSamples(maxBytes)
	kept := int64(0) // of the reserve
	for i := range records {
		switch r := &records[i]; {
		case r.Command != nil:
		case r.Tick || r.Epoch != nil:
			kept = max(kept, reserve/2)
		default:
			return ForSamples(maxBytes)
		}
	}
	return maxBytes - kept
}

// room keeps how many bytes the stream holds without asking the server for each entry. Only this
// process appends, so that the sum is right; entries under way while the server is asked count twice
// until it is asked again.
type room struct {
	base  atomic.Int64 // what the server answered, less what had been added by then
	added atomic.Int64 // since the start
}

// overhead is what the server's file store adds to a message's subject, headers and data: its
// record's header, the length of the headers, a checksum.
const overhead = 22 + 4 + 8

func stored(m *nats.Msg) int64 { return int64(m.Size()) + overhead }

func (r *room) bytes() int64 { return r.base.Load() + r.added.Load() }

// refuse returns ErrFull where the entry would use what is left for others.
func (j *JetStream) refuse(records []station.Record, m *nats.Msg) error {
	if b := bound(j.opt.MaxBytes, records); b > 0 && j.room.bytes()+stored(m) > b {
		return fmt.Errorf("%w (log.max_bytes is %d)", ErrFull, j.opt.MaxBytes)
	}
	return nil
}

// measure asks the server what the stream holds.
func (j *JetStream) measure(ctx context.Context) (Size, error) {
	before := j.room.added.Load()
	i, err := j.info(ctx)
	if err != nil {
		return Size{}, fmt.Errorf("cannot read the size of the sample log: %w", err)
	}
	j.room.base.Store(int64(i.State.Bytes) - before)
	s := Size{Bytes: int64(i.State.Bytes), MaxBytes: j.opt.MaxBytes, Last: i.State.LastSeq, Gaps: j.whole.gaps.Load(), Lost: j.whole.lost()}
	if i.State.Msgs > 0 {
		s.First, s.Oldest = i.State.FirstSeq, i.State.FirstTime
	}
	return s, nil
}

// info asks the server for the stream's state. The embedded one is asked again where it has not answered in
// time: it is short of the processor, or about to be restarted, and what starts by its answer must not end.
func (j *JetStream) info(ctx context.Context) (*jetstream.StreamInfo, error) {
	for {
		i, err := j.stream.Info(ctx)
		if j.opt.URL != "" || !errors.Is(err, context.DeadlineExceeded) || ctx.Err() != nil {
			return i, err
		}
		j.opt.Logger.Warn("the sample log has not answered, asking again", "error", err)
	}
}

// Added returns the bytes that were added since the start.
func (j *JetStream) Added() int64 { return j.room.added.Load() }

// Newest returns the newest position of a partition that is known without asking the server.
func (j *JetStream) Newest(partition int) uint64 { return j.whole.newest[partition].Load() }
