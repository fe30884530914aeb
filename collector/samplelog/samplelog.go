// Package samplelog is the durable log between collector and analyzer: records of
// decoded samples, commands, config epochs and ticks, in sixteen partitions. A record
// that Append has accepted survives a kill of the process.
package samplelog

import (
	"context"
	"errors"
	"time"

	"strokewise/analyzer/station"
)

// ErrFull is returned by Append while the log has reached its bound: the caller stops
// acknowledging and says so.
var ErrFull = errors.New("sample log is full")

// ErrEntry is wrapped by Read where an entry itself cannot be read: trying again gives the
// same.
var ErrEntry = errors.New("the entry cannot be read by this program")

// ErrTrimmed is wrapped by Read where entries that the reader was about to read have been trimmed.
var ErrTrimmed = errors.New("the entries to be read were dropped meanwhile to make room in the sample log")

// Entry is a batch of records of one partition at its position in the log. Positions
// increase within a partition, not by one.
type Entry struct {
	Position uint64
	Records  []station.Record
}

// Log is the sample log. Append is safe for concurrent use; order within a partition
// is the order of the calls' return for one caller.
type Log interface {
	// Append stores records of one partition as one entry and returns its position
	// once it is durable to the configured degree.
	Append(ctx context.Context, partition int, records []station.Record) (uint64, error)
	// Read calls fn for each entry of the partition after position from, in order, and
	// goes on waiting for new ones until ctx ends or fn fails. fn must not keep entries. What was
	// trimmed before the first entry is left out; ErrTrimmed reports what is trimmed after it.
	Read(ctx context.Context, partition int, from uint64, fn func(Entry) error) error
	// Trim removes, in all partitions, entries at or below position.
	Trim(ctx context.Context, position uint64) error
	// Before gives the newest position, of the whole log, that was stored before t; 0
	// where there is none.
	Before(ctx context.Context, t time.Time) (uint64, error)
	// Last gives the newest position of the partition and of the whole log.
	Last(ctx context.Context, partition int) (ofPartition, ofLog uint64, err error)
	// Size gives what the log holds.
	Size(ctx context.Context) (Size, error)
	Close() error
}

// Size is what the log holds, in bytes.
type Size struct {
	Bytes, MaxBytes int64
	First, Last     uint64    // positions, 0: empty
	Oldest          time.Time // when the first was stored, zero: empty
	Gaps            int64     // found since the start where its files no longer hold an entry
	Lost            int64     // entries that are missing there, at least
}
