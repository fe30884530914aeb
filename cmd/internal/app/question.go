package app

import (
	"context"
	"fmt"
	"sync"
	"time"

	"strokewise/dashboards/board"
)

// answerDue is how long a question may go unanswered before that is a fault of who is asked.
const answerDue = 10 * time.Second

// question is put to the log or the history at intervals, and never by who wants to know: a scrape
// or a page reads the newest answer.
type question struct {
	name string // a label of metrics
	// ask returns what puts the answer among the figures; nil puts nothing.
	ask func(ctx context.Context) (func(*board.Pipeline), error)
	// tell reports what came of asking; nil tells nobody.
	tell func(err error)

	mu       sync.Mutex
	asked    time.Time // zero while no answer is waited for
	answered time.Time // of the newest answer
	put      func(*board.Pipeline)
}

// pose asks in a goroutine of wg, unless the answer before is still waited for: then it only
// tells that it is late.
func (q *question) pose(ctx context.Context, wg *sync.WaitGroup, now time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if !q.asked.IsZero() {
		if waited := now.Sub(q.asked); waited > answerDue && q.tell != nil {
			q.tell(fmt.Errorf("no answer for %s", waited.Round(time.Second)))
		}
		return
	}
	q.asked = now
	ask := q.ask
	wg.Go(func() {
		c, cancel := context.WithTimeout(ctx, answerDue)
		defer cancel()
		put, err := ask(c)
		q.answer(put, err, ctx.Err() != nil)
	})
}

// answer keeps what came of asking. What fails because the program ends is no fault.
func (q *question) answer(put func(*board.Pipeline), err error, ending bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.asked = time.Time{}
	if ending {
		return
	}
	if err == nil {
		q.put, q.answered = put, time.Now()
	}
	if q.tell != nil {
		q.tell(err)
	}
}

// into puts the newest answer among the figures, with its age.
func (q *question) into(out *board.Pipeline, now time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.answered.IsZero() {
		return
	}
	out.AnswerAge[q.name] = max(0, now.Sub(q.answered).Seconds())
	if q.put != nil {
		q.put(out)
	}
}
