package notify

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"strokewise/analyzer/station"
)

const (
	batchItems   = 32
	sendTimeout  = 10 * time.Second
	backoffFirst = 2 * time.Second
	backoffMost  = 5 * time.Minute
	lookAgain    = 2 * time.Second // for items whose time has come
	readBody     = 4 << 10
	sayAgain     = time.Minute
	judgeAgain   = 10 * time.Minute
)

// Outbox holds what is to be sent. Of each alarm of a station it gives only the oldest
// item, so that nothing is seen to clear before it was raised.
type Outbox interface {
	OutboxDue(ctx context.Context, receiver string, now station.Instant, limit int) ([]Item, error)
	OutboxDone(ctx context.Context, id int64) error
	OutboxRetry(ctx context.Context, id int64, next station.Instant, lastErr string) error
}

// Sender delivers items to the receivers, each at its own pace.
type Sender struct {
	outbox    Outbox
	log       *slog.Logger
	receivers []*receiver
}

// receiver is a way to somebody, with its state.
type receiver struct {
	name   string
	way    Way
	outbox Outbox
	log    *slog.Logger
	now    func() time.Time
	may    func() error // nil: always
	wake   chan struct{}

	judge func(i *Item, now time.Time) Verdict // nil: everything is sent
	took  func(receiver string, took time.Duration)

	mu                sync.Mutex
	delivered, failed int64
	withheld          int64 // items that a route or maintenance kept from being told
	said              time.Time
	state             State
	gone              bool
	hold              time.Time // the receiver wants to be left alone until then; used by run alone
}

// New gives a sender to webhooks; Add adds others before Run.
func New(outbox Outbox, webhooks []Webhook, log *slog.Logger) *Sender {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	s := &Sender{outbox: outbox, log: log}
	for i := range webhooks {
		w := webhooks[i]
		if w.Client == nil {
			w.Client = NewClient(nil)
		}
		s.Add(w.Name, &w)
	}
	return s
}

// Add adds a receiver. It must not be called once Run was.
func (s *Sender) Add(name string, w Way) {
	s.receivers = append(s.receivers, &receiver{name: name, way: w, outbox: s.outbox, log: s.log, now: time.Now, wake: make(chan struct{}, 1)})
}

// Only lets the sender send while may returns nil. What waits is kept. It must not be called
// once Run was.
func (s *Sender) Only(may func() error) {
	for _, r := range s.receivers {
		r.may = may
	}
}

// Took lets f know how long after its change each notification was delivered. It must not be called once Run was.
func (s *Sender) Took(f func(receiver string, took time.Duration)) {
	for _, r := range s.receivers {
		r.took = f
	}
}

// Wake says that the outbox has something new.
func (s *Sender) Wake() {
	for _, r := range s.receivers {
		select {
		case r.wake <- struct{}{}:
		default:
		}
	}
}

// Run sends until ctx ends.
func (s *Sender) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	for _, r := range s.receivers {
		wg.Go(func() { r.run(ctx) })
	}
	<-ctx.Done()
	wg.Wait()
	for _, r := range s.receivers {
		r.way.Close()
	}
	return ctx.Err()
}

// Figures gives deliveries and failed attempts by receiver.
func (s *Sender) Figures() (delivered, failed map[string]int64) {
	delivered, failed = make(map[string]int64, len(s.receivers)), make(map[string]int64, len(s.receivers))
	for _, r := range s.receivers {
		r.mu.Lock()
		delivered[r.name], failed[r.name] = r.delivered, r.failed
		r.mu.Unlock()
	}
	return delivered, failed
}

func (r *receiver) run(ctx context.Context) {
	t := time.NewTicker(lookAgain)
	defer t.Stop()
	for {
		for r.round(ctx) {
		}
		if r.gone {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		case <-r.wake:
		}
	}
}

// round sends what is due, and reports whether to look again at once.
func (r *receiver) round(ctx context.Context) bool {
	r.beat()
	again, err := r.send(ctx)
	if ctx.Err() == nil {
		r.noted(err)
	}
	return again
}

// send sends what is due. The error is the outbox's.
func (r *receiver) send(ctx context.Context) (again bool, err error) {
	if r.muted() {
		return false, nil
	}
	items, groups, err := r.due(ctx)
	if err != nil {
		r.say("cannot read the outbox", err)
		return false, err
	}
	sent := false
	for i := range items {
		if ctx.Err() != nil || r.muted() || r.gone || r.now().Before(r.hold) {
			return false, nil
		}
		ok, err := r.item(ctx, &items[i])
		if err != nil {
			r.say("cannot note a delivery; it will be sent again under the same id", err)
			return false, err
		}
		sent = sent || ok
	}
	for _, g := range groups {
		if ctx.Err() != nil || r.muted() || r.gone || r.now().Before(r.hold) {
			return false, nil
		}
		ok, err := r.together(ctx, g)
		if err != nil {
			r.say("cannot note a delivery; it will be sent again under the same id", err)
			return false, err
		}
		sent = sent || ok
	}
	return sent && ctx.Err() == nil, nil
}

// muted reports whether nothing may be sent now.
func (r *receiver) muted() bool { return r.may != nil && r.may() != nil }

// item sends one item and notes what came of it.
func (r *receiver) item(ctx context.Context, i *Item) (sent bool, err error) {
	note := context.WithoutCancel(ctx)
	if r.judge != nil {
		if v := r.judge(i, r.now()); !v.Send {
			return r.withhold(note, i, v)
		}
	}
	wait, err := r.way.Deliver(ctx, i)
	if err == nil {
		r.tried(nil)
		r.count([]Item{*i})
		return true, r.outbox.OutboxDone(note, i.ID)
	}
	if ctx.Err() != nil || r.muted() {
		return false, nil // we end: no fault of the receiver's
	}
	if errors.Is(err, errTogether) {
		return false, nil
	}
	var later *Later
	if errors.As(err, &later) {
		return false, r.outbox.OutboxRetry(note, i.ID, station.InstantOf(later.Until), later.Error())
	}
	return false, r.refused(note, []Item{*i}, wait, err)
}

// count counts items that were delivered.
func (r *receiver) count(items []Item) {
	r.mu.Lock()
	r.delivered += int64(len(items))
	r.mu.Unlock()
	if r.took == nil {
		return
	}
	now := station.InstantOf(r.now())
	for i := range items {
		r.took(r.name, time.Duration(now.Sub(items[i].Transition.At)))
	}
}

// refused notes an attempt that failed, and puts its items off.
func (r *receiver) refused(note context.Context, items []Item, wait time.Duration, err error) error {
	if errors.Is(err, ErrGone) {
		r.gone = true
		r.log.Error("the receiver says that it is gone: nothing more is sent to it until the next start; what waits for it is kept", "receiver", r.name)
	}
	r.tried(err)
	r.mu.Lock()
	r.failed++
	r.mu.Unlock()
	r.say("cannot deliver a notification, trying again", err)
	if wait > 0 { // it means all of us, but an alarm is not kept back for long by a word about another
		r.hold = r.now().Add(min(wait, backoffMost))
	} else {
		wait = backoff(items[0].Attempts)
	}
	r.mu.Lock()
	r.state.Again = r.now().Add(wait)
	r.mu.Unlock()
	next := station.InstantOf(r.now().Add(wait))
	for i := range items {
		if err := r.outbox.OutboxRetry(note, items[i].ID, next, err.Error()); err != nil {
			return err
		}
	}
	return nil
}

// backoff doubles from attempt to attempt, with a share of chance.
func backoff(attempts int) time.Duration {
	d := backoffFirst << min(attempts, 10)
	if d > backoffMost {
		d = backoffMost
	}
	return d/2 + rand.N(d/2+1)
}

// say logs a fault of the receiver, at most once a minute.
func (r *receiver) say(what string, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if now := r.now(); now.Sub(r.said) > sayAgain {
		r.said = now
		r.log.Warn(what, "receiver", r.name, "error", err)
	}
}
