package main

import (
	"context"
	"os"
	"sync"
	"time"
)

// endWithin is how long a command has to end by itself after an interrupt. What blocks in the
// system (a pipe that nobody writes to, a locked file) or in a library ends with the process then.
const endWithin = 700 * time.Millisecond

// ending lets a process end soon after an interrupt, whatever it is at, and takes half-written files
// with it. A nil ending does nothing.
type ending struct {
	mu      sync.Mutex
	parts   map[string]bool // unfinished files and folders
	serving bool            // the runtime ends in order, in its own time
	exit    func(code int)
}

// watch ends the process some time after ctx unless it ends by itself.
func (e *ending) watch(ctx context.Context, again func()) {
	<-ctx.Done()
	again() // a second interrupt ends the process at once
	time.Sleep(endWithin)
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.serving {
		return
	}
	for path := range e.parts {
		_ = os.RemoveAll(path)
	}
	e.exit(exitInterrupted)
}

// unfinished notes a file or folder that goes if the process is ended; done takes the note back.
func (e *ending) unfinished(path string) (done func()) {
	if e == nil {
		return func() {}
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.parts == nil {
		e.parts = make(map[string]bool)
	}
	e.parts[path] = true
	return func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		delete(e.parts, path)
	}
}

// serve notes that the runtime works: from here on the process ends in order, in its own time.
func (e *ending) serve() {
	if e == nil {
		return
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.serving = true
}
