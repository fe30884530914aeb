package samplelog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"strokewise/analyzer/station"
)

const (
	startWait  = 2 * time.Minute            // after the server has read its files; what it cannot do it reports at once
	answerWait = 5 * time.Second            // for an entry; the answer is lost with the server that owed it
	codeFull   = jetstream.ErrorCode(10077) // of any entry that could not be stored
)

// Options of a JetStream log.
type Options struct {
	Dir        string // of the embedded server, locked for this process; with a URL only locked
	MaxBytes   int64  // the stream refuses new entries beyond it
	SyncAlways bool   // every entry is on the disk before Append returns
	URL        string // of an external server or cluster, several separated by commas, instead of the embedded one
	Login      Login  // at an external server
	Prefix     string // of all names at an external server; "": the usual one
	Keys       []Key  // of entries at an external server: the first one signs, any is taken; empty: they are not signed

	// OnUnreadable is called for each entry that is passed because it cannot be read, once.
	OnUnreadable func(Unreadable)

	Logger   *slog.Logger
	LeaseTTL time.Duration // how long the lease of a dead writer holds; 0: the usual one

	clocks     func() moment // nil: those of the machine
	standsFor  time.Duration // 0: the usual one
	answersFor time.Duration // 0: answerWait
	unmended   bool          // the server reads damaged files as they are
}

// JetStream is the Log on a NATS JetStream stream, embedded in the process (no port is
// opened) or in an external cluster.
type JetStream struct {
	opt    Options
	lock   io.Closer
	conn   *nats.Conn
	js     jetstream.JetStream
	stream jetstream.Stream
	lease  *lease
	told   told
	names  names
	whole  wholeness
	mark   *marker
	room   room
	since  uint64 // entries up to here need no MAC

	unreadable unreadables

	serving  sync.Mutex // guards server, reports and closed
	server   *server.Server
	reports  *serverLog // of server
	closed   bool
	reviving sync.Mutex // guards revived
	revived  time.Time  // when the embedded server was last restarted
}

// Open opens the log and makes it where there is none. It fails with ErrLocked or
// ErrLease where another process writes to it.
func Open(ctx context.Context, opt Options) (*JetStream, error) {
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	j := &JetStream{opt: opt, names: namesOf(opt.Prefix)}
	if err := j.open(ctx); err != nil {
		return nil, errors.Join(err, j.Close())
	}
	return j, nil
}

func (j *JetStream) open(ctx context.Context) (err error) {
	if j.lock, err = lockDir(j.opt.Dir); err != nil {
		return err
	}
	if j.opt.URL == "" {
		if err := j.startServer(); err != nil {
			return err
		}
		j.conn, err = j.connectEmbedded(inProcess{j})
	} else {
		j.conn, err = j.connect()
	}
	if err != nil {
		return err
	}
	if j.js, err = jetstream.New(j.conn); err != nil {
		return fmt.Errorf("cannot use the sample log: %w", err)
	}
	if err := j.openLease(ctx); err != nil {
		return err
	}
	if err := j.openStream(ctx); err != nil {
		return err
	}
	if err := j.openWhole(ctx); err != nil {
		return err
	}
	return j.openMark(ctx)
}

func (j *JetStream) startServer() (err error) {
	if err := writable(filepath.Join(j.opt.Dir, "stream")); err != nil {
		return err
	}
	if !j.opt.unmended {
		if j.whole.mended, err = mend(filepath.Join(j.opt.Dir, "stream"), j.opt.Logger); err != nil {
			return err
		}
	}
	j.server, j.reports, err = j.newServer()
	return err
}

// Append implements Log.
func (j *JetStream) Append(ctx context.Context, partition int, records []station.Record) (uint64, error) {
	if err := j.lease.holds(); err != nil {
		if errors.Is(err, ErrDoubt) {
			j.revive()
		}
		return 0, fmt.Errorf("cannot append to partition %d: %w", partition, err)
	}
	data, err := Encode(records)
	if err != nil {
		return 0, err
	}
	if len(data) > MaxEntry {
		return 0, fmt.Errorf("cannot append to partition %d: the entry has %d bytes, at most %d are allowed", partition, len(data), MaxEntry)
	}
	m := &nats.Msg{Subject: j.names.subject(partition), Data: data, Header: nats.Header{previousHeader: {j.whole.header(partition)}}}
	j.sign(partition, m)
	if err := j.refuse(records, m); err != nil {
		return 0, fmt.Errorf("cannot append to partition %d: %w", partition, err)
	}
	before := j.mark.newest()
	c, cancel := context.WithTimeout(ctx, answerWait)
	defer cancel()
	ack, err := j.js.PublishMsg(c, m)
	if err != nil {
		var api *jetstream.APIError
		if errors.As(err, &api) && api.ErrorCode == codeFull && strings.Contains(api.Description, "maximum bytes") {
			return 0, fmt.Errorf("cannot append to partition %d: %w (log.max_bytes is %d)", partition, ErrFull, j.opt.MaxBytes)
		}
		if ctx.Err() == nil && c.Err() != nil {
			err = fmt.Errorf("the log's server has not answered within %s: %w", answerWait, err)
		}
		if ctx.Err() == nil {
			j.revive()
		}
		return 0, fmt.Errorf("cannot append to partition %d: %w", partition, err)
	}
	if ack.Sequence <= before {
		return 0, j.again(ctx, partition, ack.Sequence, before)
	}
	j.accepted(partition, ack.Sequence, stored(m))
	return ack.Sequence, nil
}

// standsFor is for how long a reader waits for an entry before it asks whether there is one.
const standsFor = 10 * time.Second

// errStands says that entries are there which the reader is not given.
var errStands = errors.New("entries are there but none comes")

// Read implements Log. After a node of a cluster was lost, a reader may be kept alive by a
// node that gives it nothing, or find no node that takes it. Then entries are asked for one by
// one, and a new reader is tried.
func (j *JetStream) Read(ctx context.Context, partition int, from uint64, fn func(Entry) error) error {
	from, err := j.begin(ctx, from)
	if err != nil {
		return readError(ctx, partition, err)
	}
	for {
		if from, err = j.read(ctx, partition, from, fn); !errors.Is(err, errStands) {
			return err
		}
		j.opt.Logger.Warn("the sample log's server gives a reader nothing although entries are there: they are asked for one by one", "partition", partition, "after", from)
		if from, err = j.oneByOne(ctx, partition, from, fn); err != nil {
			return err
		}
	}
}

// oneByOne reads what is there, and gives the position it came to.
func (j *JetStream) oneByOne(ctx context.Context, partition int, from uint64, fn func(Entry) error) (uint64, error) {
	for {
		c, cancel := context.WithTimeout(ctx, answerWait)
		m, err := j.stream.GetMsg(c, from+1, jetstream.WithGetMsgSubject(j.names.subject(partition)))
		cancel()
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return from, nil
		}
		if err != nil {
			return from, readError(ctx, partition, err)
		}
		if err := j.entry(partition, from, m.Sequence, m.Header, m.Data, fn); err != nil {
			return from, err
		}
		from = m.Sequence
	}
}

// resets is how often a reader that lost its server tries to begin again by itself.
const resets = 2

// What a reader asks the server for ahead of its work: up to pullAhead entries, cut off at
// pullBytes. A server sends all that is asked for, whether or not the client keeps up, and closes a
// connection for which more than 64 MiB wait (the server's default, max_pending). A reader has at
// most two requests under way, so all partitions and a back-test together wait for at most
//
//	2 (Partitions + 1) pullBytes = 51 MiB.
//
// The largest entry (MaxEntry) fits into pullBytes.
const (
	pullAhead = 256
	pullBytes = 3 << 19
)

// read reads until something fails, and returns the position it came to.
func (j *JetStream) read(ctx context.Context, partition int, from uint64, fn func(Entry) error) (uint64, error) {
	c, err := j.reader(ctx, partition, from)
	if err != nil {
		return from, j.stands(ctx, partition, from, err)
	}
	it, err := c.Messages(jetstream.PullMaxMessagesWithBytesLimit(pullAhead, pullBytes))
	if err != nil {
		return from, j.stands(ctx, partition, from, err)
	}
	defer it.Stop()
	wait := cmp.Or(j.opt.standsFor, standsFor)
	for {
		m, err := Next(ctx, it, wait)
		if ctx.Err() != nil {
			return from, ctx.Err()
		}
		if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, nats.ErrTimeout) || errors.Is(err, jetstream.ErrNoHeartbeat) {
			if j.more(ctx, partition, from) {
				return from, errStands
			}
			continue // the iterator asks again
		}
		if err != nil {
			return from, j.stands(ctx, partition, from, err)
		}
		meta, err := m.Metadata()
		if err != nil {
			return from, fmt.Errorf("cannot read sample log: %w", err)
		}
		if err := j.entry(partition, from, meta.Sequence.Stream, m.Headers(), m.Data(), fn); err != nil {
			return from, err
		}
		from = meta.Sequence.Stream
	}
}

// Next returns an iterator's next message, which is waited for until ctx ends, and no longer than wait. To
// stop the iterator is not enough: while it replaces a reader that fell silent, it overlooks that.
func Next(ctx context.Context, it jetstream.MessagesContext, wait time.Duration) (jetstream.Msg, error) {
	c, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	return it.Next(jetstream.NextContext(c))
}

// reader asks the server for a reader of what follows a position. The answer is waited for no
// longer than any other, however long ctx lasts: it is lost with the server that owed it.
func (j *JetStream) reader(ctx context.Context, partition int, from uint64) (jetstream.Consumer, error) {
	c, cancel := context.WithTimeout(ctx, cmp.Or(j.opt.answersFor, answerWait))
	defer cancel()
	return j.stream.OrderedConsumer(c, jetstream.OrderedConsumerConfig{
		FilterSubjects: []string{j.names.subject(partition)}, DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: from + 1,
		MaxResetAttempts: resets,
	})
}

// stands words a reader's error: that it stands where there is more to read, so that the server
// answers.
func (j *JetStream) stands(ctx context.Context, partition int, from uint64, err error) error {
	if ctx.Err() == nil && j.more(ctx, partition, from) {
		return errStands
	}
	return readError(ctx, partition, err)
}

// more tells whether a partition has an entry behind a position, as far as the server answers.
func (j *JetStream) more(ctx context.Context, partition int, position uint64) bool {
	c, cancel := context.WithTimeout(ctx, answerWait)
	defer cancel()
	m, err := j.stream.GetLastMsgForSubject(c, j.names.subject(partition))
	return err == nil && m.Sequence > position
}

func readError(ctx context.Context, partition int, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return fmt.Errorf("cannot read partition %d of the sample log: %w", partition, err)
}

// entry gives an entry to fn, where the reader has come to position last.
func (j *JetStream) entry(partition int, last, position uint64, header nats.Header, data []byte, fn func(Entry) error) error {
	records, err := j.decode(partition, position, header, data)
	switch {
	case errors.Is(err, ErrNewer):
		return fmt.Errorf("cannot read position %d of the sample log: %w: %w", position, ErrEntry, err)
	case err != nil:
		return j.pass(Unreadable{Position: position, Partition: partition, Header: header, Data: data, Why: err.Error()}, fn)
	}
	if err := j.look(partition, last, position, header); err != nil {
		return err
	}
	return fn(Entry{Position: position, Records: records})
}

// Trim implements Log.
func (j *JetStream) Trim(ctx context.Context, position uint64) error {
	if err := j.stream.Purge(ctx, jetstream.WithPurgeSequence(position+1)); err != nil {
		return fmt.Errorf("cannot trim the sample log to position %d: %w", position, err)
	}
	_, err := j.measure(ctx)
	return err
}

// Before implements Log: a search by halves over the entries' times.
func (j *JetStream) Before(ctx context.Context, t time.Time) (uint64, error) {
	s, err := j.Size(ctx)
	if err != nil || s.First == 0 {
		return 0, err
	}
	low, high := s.First, s.Last+1 // the first entry not before t lies in [low, high]
	for low < high {
		mid := low + (high-low)/2
		m, err := j.stream.GetMsg(ctx, mid, jetstream.WithGetMsgSubject(j.names.prefix+".v1.samples.*")) // at mid, or the next one where damaged files lack it
		switch {
		case errors.Is(err, jetstream.ErrMsgNotFound):
			high = mid
		case err != nil:
			return 0, fmt.Errorf("cannot read position %d of the sample log: %w", mid, err)
		case m.Time.Before(t):
			low = m.Sequence + 1
		default:
			high = mid
		}
	}
	if low == s.First {
		return 0, nil
	}
	return low - 1, nil
}

// Last implements Log.
func (j *JetStream) Last(ctx context.Context, partition int) (uint64, uint64, error) {
	s, err := j.Size(ctx)
	if err != nil {
		return 0, 0, err
	}
	m, err := j.stream.GetLastMsgForSubject(ctx, j.names.subject(partition))
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound):
		return 0, s.Last, nil
	case err != nil:
		return 0, 0, fmt.Errorf("cannot read the end of partition %d of the sample log: %w", partition, err)
	}
	return m.Sequence, s.Last, nil
}

// Size implements Log.
func (j *JetStream) Size(ctx context.Context) (Size, error) { return j.measure(ctx) }

// Close ends the lease, stops the embedded server and gives the folder free.
func (j *JetStream) Close() error {
	if j.lease != nil {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		j.lease.release(ctx)
		cancel()
		j.lease = nil
	}
	if j.conn != nil {
		j.conn.Close()
	}
	j.serving.Lock()
	defer j.serving.Unlock()
	j.closed = true
	j.mark.close()
	if j.server != nil {
		j.server.Shutdown()
		j.server.WaitForShutdown()
	}
	if j.lock == nil {
		return nil
	}
	f := j.lock
	j.lock = nil
	if err := f.Close(); err != nil {
		return fmt.Errorf("cannot close the lock of %q: %w", j.opt.Dir, err)
	}
	return nil
}

var _ Log = (*JetStream)(nil)
