package notify

import (
	"errors"
	"time"
)

// State is how the way to one receiver does.
type State struct {
	Receiver string
	Trouble  error     // of the newest attempt to deliver, nil where it succeeded or nothing was tried
	Since    time.Time // of the first of the attempts in a row that failed
	Again    time.Time // when what failed is tried again, if it is still to be told then
	Gone     bool      // nothing more is sent to it until the next start
	Outbox   error     // of the newest time that what waits was read or its delivery noted
	Heard    time.Time // when the sender last went on with it
}

// States returns how the way to each receiver does, in the order in which they were added.
func (s *Sender) States() []State {
	out := make([]State, len(s.receivers))
	for i, r := range s.receivers {
		r.mu.Lock()
		out[i] = r.state
		r.mu.Unlock()
		out[i].Receiver = r.name
	}
	return out
}

// beat notes that the sender goes on.
func (r *receiver) beat() {
	r.mu.Lock()
	r.state.Heard = r.now()
	r.mu.Unlock()
}

// tried notes what came of an attempt to deliver.
func (r *receiver) tried(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	t := r.now()
	if err != nil && r.state.Trouble == nil {
		r.state.Since = t
	}
	r.state.Trouble, r.state.Gone, r.state.Heard = err, errors.Is(err, ErrGone), t
}

// noted notes what came of reading or writing the outbox.
func (r *receiver) noted(err error) {
	r.mu.Lock()
	r.state.Outbox = err
	r.mu.Unlock()
}
