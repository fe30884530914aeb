package notify

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// box is an outbox in memory with the rule that only the oldest item of an alarm is given.
type box struct {
	mu    sync.Mutex
	items []Item
	due   map[int64]station.Instant
}

func (b *box) OutboxDue(_ context.Context, receiver string, now station.Instant, limit int) ([]Item, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []Item
	seen := map[string]bool{}
	for _, i := range b.items {
		of := i.Transition.Key.String() + " " + i.Transition.Alarm
		if i.Receiver != receiver || seen[of] {
			continue
		}
		seen[of] = true
		if b.due[i.ID] <= now && len(out) < limit {
			out = append(out, i)
		}
	}
	return out, nil
}

func (b *box) OutboxDone(_ context.Context, id int64) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for k := range b.items {
		if b.items[k].ID == id {
			b.items = append(b.items[:k:k], b.items[k+1:]...)
			break
		}
	}
	return nil
}

func (b *box) OutboxRetry(_ context.Context, id int64, next station.Instant, last string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for k := range b.items {
		if b.items[k].ID == id {
			b.items[k].Attempts++
			b.items[k].LastError, b.items[k].Due = last, next
			b.due[id] = next
		}
	}
	return nil
}

func (b *box) OutboxWaiting(_ context.Context, receiver string, limit int) ([]Item, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []Item
	for _, i := range b.items {
		if i.Receiver == receiver && len(out) < limit {
			out = append(out, i)
		}
	}
	return out, nil
}

func (b *box) left() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.items)
}

func newBox(receiver string, alarms ...string) *box {
	b := &box{due: map[int64]station.Instant{}}
	for n, a := range alarms {
		to, from := rules.Unacknowledged, rules.Normal
		if n > 0 && alarms[n-1] == a {
			to, from = rules.ReturnedUnacknowledged, rules.Unacknowledged
		}
		b.items = append(b.items, Item{ID: int64(n + 1), Receiver: receiver, Transition: rules.Transition{
			Key: station.Key{Site: "northdock", Station: "press-4"}, Branch: "forming", Alarm: a, Priority: rules.High,
			From: from, To: to, At: station.Instant(1767225600e9 + n), Raised: 1767225600e9, Message: "m", Caution: "c",
			Evidence: []rules.Evidence{{Name: "outlet_pressure", Value: 9e5, Unit: "Pa gauge"}},
		}})
	}
	return b
}

// hook is a receiver that answers by a script and keeps what it got.
type hook struct {
	mu     sync.Mutex
	got    []event
	answer func(n int, w http.ResponseWriter) // of the n-th request, from 1
	n      int
	auth   string // expected
}

func (h *hook) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	var e event
	err := json.Unmarshal(body, &e)
	h.mu.Lock()
	h.n++
	n := h.n
	if err == nil && r.Header.Get("Content-Type") == contentType && r.Header.Get("Authorization") == h.auth {
		h.got = append(h.got, e)
	}
	h.mu.Unlock()
	if h.answer != nil {
		h.answer(n, w)
	}
}

func (h *hook) events() []event {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]event(nil), h.got...)
}

// run starts a sender to one hook; its clock goes a minute a look, so that retries are due.
func run(t *testing.T, b Outbox, h http.Handler) (*Sender, func()) {
	t.Helper()
	srv := httptest.NewServer(h)
	s := New(b, []Webhook{{Name: "phone", URL: srv.URL, Header: http.Header{"Authorization": {"Bearer secret"}}}}, nil)
	at, mu := time.Unix(1767225600, 0), sync.Mutex{}
	s.receivers[0].now = func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		at = at.Add(time.Minute)
		return at
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	stop := func() { cancel(); <-done; srv.Close() }
	return s, stop
}

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

func await(t *testing.T, s *Sender, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(2 * time.Millisecond) {
		if ok() {
			return
		}
		s.Wake()
	}
	t.Fatal("waited in vain for: " + what)
}

func TestDeliversOnceInOrder(t *testing.T) {
	b, h := newBox("phone", "pressure-left", "pressure-left", "outlet-leak"), &hook{auth: "Bearer secret"}
	s, stop := run(t, b, h)
	await(t, s, "an empty outbox", func() bool { return b.left() == 0 })
	stop()
	got := h.events()
	if len(got) != 3 {
		t.Fatalf("%d events", len(got))
	}
	var order []string
	for _, e := range got {
		if e.Subject == "pressure-left" {
			order = append(order, e.Type)
		}
	}
	if order[0] != "strokewise.alarm.raised" || order[1] != "strokewise.alarm.cleared" {
		t.Errorf("order %v", order)
	}
	e := got[0]
	if e.SpecVersion != "1.0" || e.ID == "" || e.Source != "/strokewise/northdock/press-4" || e.Time != "2026-01-01T00:00:00Z" ||
		e.Data.Priority != "high" || e.Data.Evidence[0].Value != 9e5 || e.Data.Reminder != reminder || e.Data.Caution != "c" {
		t.Errorf("event %+v", e)
	}
	if d, f := s.Figures(); d["phone"] != 3 || f["phone"] != 0 {
		t.Errorf("delivered %v, failed %v", d, f)
	}
}

func TestRetriesUnderTheSameID(t *testing.T) {
	b, h := newBox("phone", "outlet-leak"), &hook{auth: "Bearer secret"}
	h.answer = func(n int, w http.ResponseWriter) {
		switch n {
		case 1:
			w.WriteHeader(http.StatusInternalServerError)
		case 2:
			panic(http.ErrAbortHandler) // the connection is cut
		}
	}
	s, stop := run(t, b, h)
	await(t, s, "a delivery", func() bool { return b.left() == 0 })
	stop()
	got := h.events()
	if len(got) != 3 || got[0].ID != got[2].ID || got[1].ID != got[2].ID {
		t.Errorf("events %+v", got)
	}
	if d, f := s.Figures(); d["phone"] != 1 || f["phone"] != 2 {
		t.Errorf("delivered %v, failed %v", d, f)
	}
}

func TestGoneStopsAndKeeps(t *testing.T) {
	b, h := newBox("phone", "outlet-leak", "signal-lost"), &hook{auth: "Bearer secret"}
	h.answer = func(_ int, w http.ResponseWriter) { w.WriteHeader(http.StatusGone) }
	s, stop := run(t, b, h)
	await(t, s, "an attempt", func() bool { _, f := s.Figures(); return f["phone"] > 0 })
	for range 20 {
		s.Wake()
	}
	stop()
	if len(h.events()) != 1 || b.left() != 2 {
		t.Errorf("%d requests, %d kept", len(h.events()), b.left())
	}
}

func TestRetryAfterIsObeyed(t *testing.T) {
	now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for v, want := range map[string]time.Duration{
		"": 0, "120": 2 * time.Minute, "-5": 0, "999999999": 24 * time.Hour, "soon": 0,
		"Thu, 01 Jan 2026 00:01:00 GMT": time.Minute, "Wed, 31 Dec 2025 00:00:00 GMT": 0,
	} {
		if got := retryAfter(v, now); got != want {
			t.Errorf("%q: %s, want %s", v, got, want)
		}
	}
	b := newBox("phone", "outlet-leak")
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Retry-After", "3600")
		w.WriteHeader(http.StatusTooManyRequests)
	}))
	defer srv.Close()
	r := New(b, []Webhook{{Name: "phone", URL: srv.URL}}, nil).receivers[0]
	r.now = func() time.Time { return now }
	if r.round(t.Context()) {
		t.Error("a failed round asks for another at once")
	}
	r.way.(*Webhook).Client.CloseIdleConnections()
	if got := b.due[1]; got != station.InstantOf(now.Add(time.Hour)) {
		t.Errorf("next attempt at %s", got)
	}
}

func TestBackoffGrowsToItsBound(t *testing.T) {
	for n, most := range map[int]time.Duration{0: backoffFirst, 3: 8 * backoffFirst, 20: backoffMost} {
		for range 50 {
			if d := backoff(n); d < most/2 || d > most {
				t.Fatalf("after %d attempts %s", n, d)
			}
		}
	}
}

// A receiver that hangs does not hold the other up.
func TestReceiversAreIndependent(t *testing.T) {
	b := newBox("phone", "outlet-leak")
	slow := b.items[0]
	slow.ID, slow.Receiver = 9, "slow"
	b.items = append(b.items, slow)
	hang := make(chan struct{})
	h := &hook{}
	a := httptest.NewServer(h)
	z := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-hang }))
	s := New(b, []Webhook{{Name: "slow", URL: z.URL}, {Name: "phone", URL: a.URL}}, nil)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { s.Run(ctx); close(done) }()
	await(t, s, "the other's delivery", func() bool { return len(h.events()) == 1 && b.left() == 1 })
	cancel()
	<-done
	close(hang)
	a.Close()
	z.Close()
	if b.left() != 1 {
		t.Errorf("%d left", b.left())
	}
}

// Keeping an alarm back, or writing a note to it, is never told as its end.
func TestKeptBackIsNotCleared(t *testing.T) {
	for _, c := range []struct {
		from, to rules.AlarmState
		want     string
	}{
		{rules.Normal, rules.Unacknowledged, "raised"},
		{rules.Shelved, rules.Unacknowledged, "raised"},
		{rules.Unacknowledged, rules.Acknowledged, "acknowledged"},
		{rules.Acknowledged, rules.Normal, "cleared"},
		{rules.Acknowledged, rules.Shelved, "changed"},
		{rules.Unacknowledged, rules.OutOfService, "changed"},
		{rules.Unacknowledged, rules.Unacknowledged, "reminder"}, // by nobody, see below
		{rules.Acknowledged, rules.Acknowledged, "reminder"},
		{rules.Normal, rules.SuppressedByDesign, "changed"},
	} {
		if got := eventType(&rules.Transition{From: c.from, To: c.to}); got != "strokewise.alarm."+c.want {
			t.Errorf("from %s to %s is %s, want %s", c.from, c.to, got, c.want)
		}
	}
	if got := eventType(&rules.Transition{From: rules.Acknowledged, To: rules.Acknowledged, By: "Ana"}); got != "strokewise.alarm.changed" {
		t.Errorf("a person's note is %s", got)
	}
}

// way is a Way that always succeeds.
type way func(*Item)

func (w way) Deliver(_ context.Context, i *Item) (time.Duration, error) { w(i); return 0, nil }
func (w way) Test(context.Context) (string, error)                      { return "", nil }
func (w way) Close()                                                    {}
