package app

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/dashboards/board"
)

// Reloads counts what became of the readings of the configuration. It outlives an App that begins anew. A nil
// Reloads counts nothing.
type Reloads struct {
	mu    sync.Mutex
	now   board.Reloads
	why   string
	since time.Time // of the refusal
}

// Took notes that a configuration is in force.
func (r *Reloads) Took(at time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.now.Taken++
	r.now.Good, r.now.At, r.why = true, station.InstantOf(at), ""
}

// Refused notes that a configuration was refused, and why: the one before stays in force.
func (r *Reloads) Refused(at time.Time, why error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.now.Refused++
	r.now.Good, r.since = false, at
	r.why = inALine(why)
}

// inALine words an error that may join many: the first of them, and how many more there are.
func inALine(err error) string {
	var joined interface{ Unwrap() []error }
	if !errors.As(err, &joined) || len(joined.Unwrap()) == 0 {
		return err.Error()
	}
	list := joined.Unwrap()
	if len(list) == 1 {
		return list[0].Error()
	}
	return fmt.Sprintf("%v (and %d faults more)", list[0], len(list)-1)
}

// Figures returns what was counted, nil where nothing is.
func (r *Reloads) Figures() *board.Reloads {
	if r == nil {
		return nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	out := r.now
	return &out
}

// look reports a configuration that was refused.
func (r *Reloads) look(p *health.Part) {
	r.mu.Lock()
	why, since := r.why, r.since
	r.mu.Unlock()
	if why != "" {
		p.Doubtful("the file was refused at %s, and what was read before stays in force: %s", since.UTC().Format("2006-01-02 15:04:05"), why)
		return
	}
	p.Works()
}
