package notify

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Open gives the newest transition of each alarm that is not normal, as stored; false
// while that is not known, before the log was worked off.
type Open func() ([]rules.Transition, bool)

const (
	resendEvery = time.Minute // Alertmanager resolves what was not sent for its resolve_timeout, 5 min unless set
	batchAlerts = 500         // in one request
)

// Alertmanager is a receiver that speaks the v2 API of Prometheus Alertmanager. What is
// active is sent again every minute, because Alertmanager resolves what it does not hear
// of; a return to normal comes from the outbox, so that it is told also after a restart.
type Alertmanager struct {
	Name   string
	URL    string // without /api/v2/alerts
	Header http.Header
	Client *http.Client // nil: the usual one
	Pages  string       // address of our pages, for links; "" none
	Known  Known
	Open   Open                                          // nil: nothing is sent again
	Tells  func(t *rules.Transition, now time.Time) bool // whether to send one again; nil: all
	Every  time.Duration
	Logger *slog.Logger

	once    sync.Once
	failed  atomic.Int64
	trouble atomic.Pointer[error] // requests to send again
	mu      sync.Mutex            // held from looking at what stands until it was sent
	ended   map[occasion]station.Instant
}

// occasion is an alarm of a station. Its newest raise that was told to be over is kept: the
// picture of what stands may be a moment older than the outbox.
type occasion struct {
	key   station.Key
	alarm string
}

// Deliver tells of a transition. One that belongs to an earlier occurrence of an alarm
// that stands again is not told: it would resolve the new one.
func (a *Alertmanager) Deliver(ctx context.Context, i *Item) (time.Duration, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	t := i.Transition
	if open, ok := a.open(); ok {
		for k := range open {
			if o := &open[k]; o.Key == t.Key && o.Alarm == t.Alarm && o.Raised > t.Raised {
				t = *o
			}
		}
	}
	_, wait, err := a.send(ctx, []alert{a.alert(&t, time.Now())})
	if err == nil {
		a.note(&t)
	}
	return wait, err
}

// note keeps what was told to be over.
func (a *Alertmanager) note(t *rules.Transition) {
	o := occasion{t.Key, t.Alarm}
	if firing(t.To) {
		delete(a.ended, o)
		return
	}
	if a.ended == nil {
		a.ended = map[occasion]station.Instant{}
	}
	a.ended[o] = t.Raised
}

// Test sends an alert named StrokewiseTest that ends in a minute.
func (a *Alertmanager) Test(ctx context.Context) (string, error) {
	now := time.Now()
	t := testTransition(now)
	x := a.alert(&t, now)
	x.Labels["alertname"], x.Generator = "StrokewiseTest", a.Pages
	x.EndsAt = now.Add(time.Minute).UTC().Format(time.RFC3339Nano)
	status, _, err := a.send(ctx, []alert{x})
	return status, err
}

// Close lets connections go.
func (a *Alertmanager) Close() { a.client().CloseIdleConnections() }

// Run sends what is active again and again until ctx ends.
func (a *Alertmanager) Run(ctx context.Context) {
	every := a.Every
	if every <= 0 {
		every = resendEvery
	}
	t := time.NewTicker(every)
	defer t.Stop()
	for said := (time.Time{}); ; {
		err := a.resend(ctx)
		if ctx.Err() == nil {
			a.trouble.Store(&err)
		}
		if err != nil && ctx.Err() == nil && a.Logger != nil && time.Since(said) > sayAgain {
			said = time.Now()
			a.Logger.Warn("cannot send active alarms again", "receiver", a.Name, "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

// resend sends every active alarm.
func (a *Alertmanager) resend(ctx context.Context) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	open, ok := a.open()
	if !ok {
		return nil
	}
	var alerts []alert
	now := time.Now()
	for i := range open {
		t := &open[i]
		if firing(t.To) && t.Raised > a.ended[occasion{t.Key, t.Alarm}] && (a.Tells == nil || a.Tells(t, now)) {
			alerts = append(alerts, a.alert(t, now))
		}
	}
	for len(alerts) > 0 {
		n := min(len(alerts), batchAlerts)
		if _, _, err := a.send(ctx, alerts[:n]); err != nil {
			a.failed.Add(1)
			return err
		}
		alerts = alerts[n:]
	}
	return nil
}

// ResendTrouble returns why active alarms could not be sent again the last time, nil where they could.
func (a *Alertmanager) ResendTrouble() error {
	if err := a.trouble.Load(); err != nil {
		return *err
	}
	return nil
}

// ResendFailed counts the requests to send active alarms again that failed.
func (a *Alertmanager) ResendFailed() int64 { return a.failed.Load() }

func (a *Alertmanager) open() ([]rules.Transition, bool) {
	if a.Open == nil {
		return nil, false
	}
	return a.Open()
}

func (a *Alertmanager) client() *http.Client {
	a.once.Do(func() {
		if a.Client == nil {
			a.Client = NewClient(nil)
		}
	})
	return a.Client
}

func (a *Alertmanager) send(ctx context.Context, alerts []alert) (string, time.Duration, error) {
	body, err := json.Marshal(alerts)
	if err != nil {
		return "", 0, fmt.Errorf("cannot encode alerts: %w", err)
	}
	return post(ctx, a.client(), strings.TrimRight(a.URL, "/")+"/api/v2/alerts", a.Header, "application/json", body)
}
