package trail

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"
)

// Target receives the lines of a trail elsewhere.
type Target interface {
	// Send returns once the target has a line, or with the reason why it does not.
	Send(ctx context.Context, line []byte, e *Entry) error
	Close()
}

// Forwarder sends the lines of a trail to a target, in their order, each until it is received. The
// trail's file is the queue: whoever is written down never waits for a target, and a target that is
// away costs no memory. What was sent is sent again after a crash, under the same number.
type Forwarder struct {
	trail, state string // paths
	to           Target
	grown        <-chan struct{}

	at    place
	mu    sync.Mutex
	fault error
}

// place is how far a target has a trail.
type place struct {
	Offset int64  `json:"offset"`
	N      int64  `json:"n"`
	Hash   string `json:"hash"`
}

var start = place{Hash: first}

const (
	firstPause = time.Second // after a failure; it doubles
	mostPause  = time.Minute
	saveEvery  = 64 // lines; the rest is sent again after a crash
)

// NewForwarder returns a forwarder of a trail that remembers in a file how far the target has it.
func NewForwarder(t *Trail, state string, to Target) *Forwarder {
	f := &Forwarder{trail: t.Path(), state: state, to: to, grown: t.watch(), at: start}
	if data, err := os.ReadFile(state); err == nil && json.Unmarshal(data, &f.at) != nil {
		f.at = start
	}
	return f
}

// Run sends until ctx ends.
func (f *Forwarder) Run(ctx context.Context) {
	defer f.to.Close()
	for pause := firstPause; ; {
		err := f.pass(ctx)
		if ctx.Err() != nil {
			return
		}
		f.mu.Lock()
		f.fault = err
		f.mu.Unlock()
		var again <-chan time.Time
		grown := f.grown
		if err != nil {
			again, grown, pause = time.After(pause), nil, min(2*pause, mostPause)
		} else {
			pause = firstPause
		}
		select {
		case <-ctx.Done():
			return
		case <-grown:
		case <-again:
		}
	}
}

// Fault returns why the newest line is not at the target.
func (f *Forwarder) Fault() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.fault
}

// pass sends what the file has more than the target.
func (f *Forwarder) pass(ctx context.Context) (err error) {
	file, err := os.Open(f.trail)
	if err != nil {
		return err
	}
	defer file.Close()
	sent := 0
	defer func() {
		if sent > 0 {
			err = errors.Join(err, f.save())
		}
	}()
	if err := f.check(file); err != nil {
		return err
	}
	if _, err := file.Seek(f.at.Offset, io.SeekStart); err != nil {
		return err
	}
	r := bufio.NewReaderSize(file, mostLine+1)
	for {
		line, err := r.ReadSlice('\n')
		if err == io.EOF {
			return nil // whole lines only
		}
		if err != nil {
			return fmt.Errorf("entry %d: %w", f.at.N+1, err)
		}
		if err := f.send(ctx, line[:len(line)-1]); err != nil {
			return err
		}
		f.at.Offset += int64(len(line))
		if sent++; sent%saveEvery == 0 {
			if err := f.save(); err != nil {
				return err
			}
		}
	}
}

// check begins anew where the file is not the one that was sent up to here.
func (f *Forwarder) check(file *os.File) error {
	info, err := file.Stat()
	if err != nil || f.at == start {
		return err
	}
	if f.at.Offset <= 0 || f.at.Offset > info.Size() {
		f.at = start
		return nil
	}
	from := max(f.at.Offset-mostLine-1, 0)
	tail, err := io.ReadAll(io.NewSectionReader(file, from, f.at.Offset-from))
	if err != nil {
		return err
	}
	if line, ok := lastLine(tail); !ok || digest(line) != f.at.Hash {
		f.at = start
	}
	return nil
}

func (f *Forwarder) send(ctx context.Context, line []byte) error {
	var e Entry
	if err := json.Unmarshal(line, &e); err != nil {
		return fmt.Errorf("entry %d: %w", f.at.N+1, err)
	}
	if err := f.to.Send(ctx, line, &e); err != nil {
		return fmt.Errorf("entry %d: %w", e.N, err)
	}
	f.at.N, f.at.Hash = e.N, digest(line)
	return nil
}

// save notes how far the target has the trail.
func (f *Forwarder) save() error {
	data, err := json.Marshal(f.at)
	if err == nil {
		err = os.WriteFile(f.state+".new", data, 0o600)
	}
	if err == nil {
		err = os.Rename(f.state+".new", f.state)
	}
	return err
}
