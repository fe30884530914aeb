package samplelog

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"strokewise/analyzer/station"
)

// ErrClosed is returned by calls on a closed log.
var ErrClosed = errors.New("sample log is closed")

// Memory is a Log in memory, which holds the tests of every Log to something that is easily read. It
// keeps nothing.
type Memory struct {
	mu       sync.Mutex
	entries  []memoryEntry
	last     uint64
	bytes    int64
	maxBytes int64
	closed   bool
	changed  chan struct{} // closed at each change
}

type memoryEntry struct {
	position  uint64
	partition int
	data      []byte
	at        time.Time
}

// NewMemory gives an empty log that refuses entries beyond maxBytes (0: no bound).
func NewMemory(maxBytes int64) *Memory {
	return &Memory{maxBytes: maxBytes, changed: make(chan struct{})}
}

var _ Log = (*Memory)(nil)

// Append implements Log.
func (m *Memory) Append(ctx context.Context, partition int, records []station.Record) (uint64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	data, err := Encode(records)
	if err != nil {
		return 0, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return 0, ErrClosed
	}
	if m.maxBytes > 0 && m.bytes+int64(len(data)) > m.maxBytes {
		return 0, fmt.Errorf("cannot append to partition %d: %w", partition, ErrFull)
	}
	m.last++
	m.bytes += int64(len(data))
	m.entries = append(m.entries, memoryEntry{m.last, partition, data, time.Now()})
	m.signal()
	return m.last, nil
}

func (m *Memory) signal() {
	close(m.changed)
	m.changed = make(chan struct{})
}

// Read implements Log.
func (m *Memory) Read(ctx context.Context, partition int, from uint64, fn func(Entry) error) error {
	for {
		e, changed, err := m.next(partition, from)
		switch {
		case err != nil:
			return err
		case e == nil:
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-changed:
			}
			continue
		case ctx.Err() != nil:
			return ctx.Err()
		}
		records, err := Decode(e.data)
		if err != nil {
			return fmt.Errorf("cannot read position %d: %w", e.position, err)
		}
		if err := fn(Entry{Position: e.position, Records: records}); err != nil {
			return err
		}
		from = e.position
	}
}

func (m *Memory) next(partition int, from uint64) (*memoryEntry, <-chan struct{}, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return nil, nil, ErrClosed
	}
	for i := range m.entries {
		if e := m.entries[i]; e.position > from && e.partition == partition {
			return &e, nil, nil
		}
	}
	return nil, m.changed, nil
}

// Trim implements Log.
func (m *Memory) Trim(_ context.Context, position uint64) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	kept := m.entries[:0:0]
	m.bytes = 0
	for _, e := range m.entries {
		if e.position > position {
			kept = append(kept, e)
			m.bytes += int64(len(e.data))
		}
	}
	m.entries = kept
	return nil
}

// Before implements Log.
func (m *Memory) Before(_ context.Context, t time.Time) (uint64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var p uint64
	for _, e := range m.entries {
		if e.at.Before(t) {
			p = e.position
		}
	}
	return p, nil
}

// Last implements Log.
func (m *Memory) Last(_ context.Context, partition int) (uint64, uint64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var p uint64
	for _, e := range m.entries {
		if e.partition == partition {
			p = e.position
		}
	}
	return p, m.last, nil
}

// Size implements Log.
func (m *Memory) Size(context.Context) (Size, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	s := Size{Bytes: m.bytes, MaxBytes: m.maxBytes, Last: m.last}
	if len(m.entries) > 0 {
		s.First = m.entries[0].position
	}
	return s, nil
}

// Close implements Log.
func (m *Memory) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.closed {
		m.closed = true
		m.signal()
	}
	return nil
}
