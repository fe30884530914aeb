package samplelog

import (
	"errors"
	"sync/atomic"

	"github.com/nats-io/nats.go"

	"strokewise/analyzer/station"
)

// ErrNewer is wrapped by Read where an entry was written by a newer program. It is not passed:
// conclusions would lack what it holds.
var ErrNewer = errors.New("it was written by a newer program: run that one")

// Unreadable is an entry that is none of ours, or damaged. It is passed.
type Unreadable struct {
	Position  uint64
	Partition int
	Header    map[string][]string
	Data      []byte // must not be kept
	Why       string
}

// unreadables counts unreadable entries, each once however often it is read.
type unreadables struct {
	newest [station.Partitions]atomic.Uint64
	count  atomic.Int64
}

// isNew reports whether an entry was not read before, and counts it.
func (u *unreadables) isNew(partition int, position uint64) bool {
	for n := &u.newest[partition]; ; {
		old := n.Load()
		if position <= old {
			return false
		}
		if n.CompareAndSwap(old, position) {
			u.count.Add(1)
			return true
		}
	}
}

// Unreadable returns how many unreadable entries were passed since the start.
func (j *JetStream) Unreadable() int64 { return j.unreadable.count.Load() }

// decode returns the records of an entry.
//
// An entry whose MAC is missing or wrong is none of ours, whatever it holds. One of a version that this
// program does not know yet is a newer program's where it is signed; without a key, where it
// has the header that each of our entries has. The rest is garbage.
func (j *JetStream) decode(partition int, position uint64, h nats.Header, data []byte) ([]station.Record, error) {
	if err := j.genuine(partition, position, h, data); err != nil {
		return nil, err
	}
	records, err := Decode(data)
	if errors.Is(err, ErrNewer) && h.Get(macHeader) == "" && h.Get(previousHeader) == "" {
		return nil, errors.New("it has a version that is none, and no header of ours")
	}
	return records, err
}

// pass hands an unreadable entry to who keeps it, and an empty one to the reader, which then stands behind it.
func (j *JetStream) pass(u Unreadable, fn func(Entry) error) error {
	if j.unreadable.isNew(u.Partition, u.Position) && j.opt.OnUnreadable != nil {
		j.opt.OnUnreadable(u)
	}
	return fn(Entry{Position: u.Position})
}
