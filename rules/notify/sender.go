package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"strconv"
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
)

// Outbox holds what is to be sent. Of each alarm of a station it gives only the oldest
// item, so that nothing is seen to clear before it was raised.
type Outbox interface {
	OutboxDue(ctx context.Context, receiver string, now station.Instant, limit int) ([]Item, error)
	OutboxDone(ctx context.Context, id int64) error
	OutboxRetry(ctx context.Context, id int64, next station.Instant, lastErr string) error
}

// Webhook is a receiver.
type Webhook struct {
	Name   string
	URL    string
	Header http.Header // sent along, such as Authorization; may be nil
	Client *http.Client
}

// Sender delivers items to the receivers, each at its own pace.
type Sender struct {
	outbox    Outbox
	log       *slog.Logger
	receivers []*receiver
}

// receiver is a webhook with its state.
type receiver struct {
	Webhook
	outbox Outbox
	log    *slog.Logger
	now    func() time.Time
	wake   chan struct{}

	mu                sync.Mutex
	delivered, failed int64
	said              time.Time
	gone              bool
	hold              time.Time // the receiver wants to be left alone until then; used by run alone
}

// New gives a sender. Redirects are not followed: a transition goes where the
// configuration says.
func New(outbox Outbox, webhooks []Webhook, log *slog.Logger) *Sender {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	s := &Sender{outbox: outbox, log: log}
	for _, w := range webhooks {
		if w.Client == nil {
			w.Client = &http.Client{Timeout: sendTimeout, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		}
		s.receivers = append(s.receivers, &receiver{Webhook: w, outbox: outbox, log: log, now: time.Now, wake: make(chan struct{}, 1)})
	}
	return s
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
		r.Client.CloseIdleConnections()
	}
	return ctx.Err()
}

// Figures gives deliveries and failed attempts by receiver.
func (s *Sender) Figures() (delivered, failed map[string]int64) {
	delivered, failed = make(map[string]int64, len(s.receivers)), make(map[string]int64, len(s.receivers))
	for _, r := range s.receivers {
		r.mu.Lock()
		delivered[r.Name], failed[r.Name] = r.delivered, r.failed
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

// round sends what is due, and tells whether to look again at once.
func (r *receiver) round(ctx context.Context) bool {
	items, err := r.outbox.OutboxDue(ctx, r.Name, station.InstantOf(r.now()), batchItems)
	if err != nil {
		r.say("cannot read the outbox", err)
		return false
	}
	sent := false
	for i := range items {
		if ctx.Err() != nil || r.gone || r.now().Before(r.hold) {
			return false
		}
		ok, err := r.item(ctx, &items[i])
		if err != nil {
			r.say("cannot note a delivery; it will be sent again under the same id", err)
			return false
		}
		sent = sent || ok
	}
	return sent && ctx.Err() == nil
}

// item sends one item and notes what came of it.
func (r *receiver) item(ctx context.Context, i *Item) (sent bool, err error) {
	wait, err := r.post(ctx, i)
	note := context.WithoutCancel(ctx)
	if err == nil {
		r.mu.Lock()
		r.delivered++
		r.mu.Unlock()
		return true, r.outbox.OutboxDone(note, i.ID)
	}
	if ctx.Err() != nil {
		return false, nil // we end: no fault of the receiver's
	}
	r.mu.Lock()
	r.failed++
	r.mu.Unlock()
	r.say("cannot deliver a notification, trying again", err)
	if wait > 0 { // it means all of us, but an alarm is not kept back for long by a word about another
		r.hold = r.now().Add(min(wait, backoffMost))
	} else {
		wait = backoff(i.Attempts)
	}
	return false, r.outbox.OutboxRetry(note, i.ID, station.InstantOf(r.now().Add(wait)), err.Error())
}

// backoff doubles from attempt to attempt, with a share of chance.
func backoff(attempts int) time.Duration {
	d := backoffFirst << min(attempts, 10)
	if d > backoffMost {
		d = backoffMost
	}
	return d/2 + rand.N(d/2+1)
}

// post sends one item. With an error it may give how long the receiver wants to be left
// alone.
func (r *receiver) post(ctx context.Context, i *Item) (wait time.Duration, err error) {
	body, err := encode(&i.Transition)
	if err != nil {
		return 0, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, r.URL, bytes.NewReader(body))
	if err != nil {
		return 0, fmt.Errorf("cannot make request: %w", err)
	}
	for name, values := range r.Header {
		req.Header[name] = values
	}
	req.Header.Set("Content-Type", contentType)
	req.Header.Set("User-Agent", "strokewise")
	res, err := r.Client.Do(req)
	if err != nil {
		return 0, fmt.Errorf("cannot reach receiver: %w", err)
	}
	defer res.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(res.Body, readBody))
	switch {
	case res.StatusCode/100 == 2:
		return 0, nil
	case res.StatusCode == http.StatusGone:
		r.gone = true
		r.log.Error("the receiver says that it is gone: nothing more is sent to it until the next start; what waits for it is kept", "receiver", r.Name)
	}
	return retryAfter(res.Header.Get("Retry-After"), r.now()), errors.New("receiver answered " + res.Status + ": " + short(said))
}

// retryAfter reads a Retry-After header (RFC 9110, 10.2.3), seconds or a date; at most a
// day.
func retryAfter(v string, now time.Time) time.Duration {
	if s, err := strconv.Atoi(v); err == nil && s >= 0 {
		return min(time.Duration(min(s, 86400))*time.Second, 24*time.Hour)
	}
	if t, err := http.ParseTime(v); err == nil {
		return min(max(0, t.Sub(now)), 24*time.Hour)
	}
	return 0
}

func short(b []byte) string {
	if len(b) > 120 {
		b = b[:120]
	}
	return strconv.Quote(string(b))
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
		r.log.Warn(what, "receiver", r.Name, "error", err)
	}
}
