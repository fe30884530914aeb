package app

import (
	"context"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// How long a person waits for what becomes of a command. A partition commits within half a
// second. A header decides once its stations' event time has passed the command, which the
// lateness (2 s unless configured) delays.
const (
	answerWithin = 2 * time.Second
	headerWaits  = 3 * time.Second // longer
)

// wordID identifies a command in the log, the audit and the inputs of headers.
type wordID struct {
	at                station.Instant // arrival
	who, what, target string
}

func wordOf(a *history.Act) wordID { return wordID{a.At, a.Who, a.What, a.Target} }

// answers passes outcomes that are stored on to those who gave the commands.
type answers struct {
	mu      sync.Mutex
	waiting map[wordID]chan rules.Outcome
}

// expect registers a command before it is appended to the log. forget ends the wait.
func (a *answers) expect(id wordID) (outcome <-chan rules.Outcome, forget func()) {
	c := make(chan rules.Outcome, 1)
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.waiting == nil {
		a.waiting = make(map[wordID]chan rules.Outcome)
	}
	a.waiting[id] = c
	return c, func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		if a.waiting[id] == c {
			delete(a.waiting, id)
		}
	}
}

// stored passes on the outcomes of lines that the audit has now. Lines without an outcome are
// decided later.
func (a *answers) stored(acts []history.Act) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for i := range acts {
		c := a.waiting[wordOf(&acts[i])]
		if c == nil || acts[i].Outcome.Result == rules.NoResult {
			continue
		}
		select {
		case c <- acts[i].Outcome:
		default: // the same line was stored before
		}
	}
}

// await returns the outcome, without a result where none is known in time.
func await(ctx context.Context, outcome <-chan rules.Outcome, within time.Duration) rules.Outcome {
	t := time.NewTimer(within)
	defer t.Stop()
	select {
	case o := <-outcome:
		return o
	case <-t.C:
	case <-ctx.Done():
	}
	return rules.Outcome{}
}
