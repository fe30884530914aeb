package batch

import (
	"context"
	"sync"
)

// room bounds the bytes that wait. One message larger than all of it passes when nothing
// else waits.
type room struct {
	mu    sync.Mutex
	free  int64
	all   int64
	freed chan struct{} // closed at each give
}

func newRoom(n int64) *room { return &room{free: n, all: n, freed: make(chan struct{})} }

func (r *room) take(ctx context.Context, n int64) error {
	for {
		r.mu.Lock()
		if n <= r.free || r.free == r.all {
			r.free -= n
			r.mu.Unlock()
			return nil
		}
		wait := r.freed
		r.mu.Unlock()
		select {
		case <-wait:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (r *room) give(n int64) {
	if n == 0 {
		return
	}
	r.mu.Lock()
	r.free += n
	close(r.freed)
	r.freed = make(chan struct{})
	r.mu.Unlock()
}
