package notify

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// rude is a receiver that takes every request and answers by its turn, on bare TCP.
type rude struct {
	l      net.Listener
	manner []func(c net.Conn) // of the n-th request; nil, and beyond: 204
	quit   chan struct{}
	wg     sync.WaitGroup

	mu       sync.Mutex
	n        int
	accepted []event          // answered with 204
	tried    map[string][]int // by event id: numbers of requests
}

func newRude(t *testing.T, manner ...func(net.Conn)) *rude {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &rude{l: l, manner: manner, quit: make(chan struct{}), tried: map[string][]int{}}
	r.wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			r.wg.Go(func() { r.serve(c) })
		}
	})
	t.Cleanup(func() { l.Close(); close(r.quit); r.wg.Wait() })
	return r
}

// serve takes one request of a connection.
func (r *rude) serve(c net.Conn) {
	defer c.Close()
	c.SetDeadline(time.Now().Add(patience))
	req, err := http.ReadRequest(bufio.NewReader(c))
	if err != nil {
		return
	}
	body, _ := io.ReadAll(req.Body)
	var e event
	json.Unmarshal(body, &e)
	r.mu.Lock()
	n := r.n
	r.n++
	r.tried[e.Source+e.ID] = append(r.tried[e.Source+e.ID], n)
	var manner func(net.Conn)
	if n < len(r.manner) {
		manner = r.manner[n]
	}
	if manner == nil {
		r.accepted = append(r.accepted, e)
	}
	r.mu.Unlock()
	if manner == nil {
		fmt.Fprint(c, "HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")
		return
	}
	manner(c)
}

func says(text string) func(net.Conn) { return func(c net.Conn) { io.WriteString(c, text) } }

// manners are the ways in which a receiver fails.
func (r *rude) manners() map[string]func(net.Conn) {
	return map[string]func(net.Conn){
		"closes at once":     func(net.Conn) {},
		"never answers":      func(net.Conn) { <-r.quit },
		"garbage":            says("\x00\xff\x17 this is no HTTP\r\n\r\n"),
		"half an answer":     says("HTTP/1.1 200 O"),
		"half a body":        func(c net.Conn) { io.WriteString(c, "HTTP/1.1 500 No\r\nContent-Length: 1000\r\n\r\nshort") },
		"a body without end": func(c net.Conn) { endless(c, "HTTP/1.1 503 No\r\n\r\n", r.quit) },
		"headers for ever":   func(c net.Conn) { endless(c, "HTTP/1.1 200 OK\r\nX: ", r.quit) },
		"500":                says("HTTP/1.1 500 No\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
		"400":                says("HTTP/1.1 400 No\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
		"429":                says("HTTP/1.1 429 Slow\r\nRetry-After: 1800\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
		"a redirect":         says("HTTP/1.1 302 Go\r\nLocation: http://127.0.0.1:1/\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
	}
}

func endless(c net.Conn, head string, quit <-chan struct{}) {
	io.WriteString(c, head)
	for {
		select {
		case <-quit:
			return
		default:
		}
		if _, err := io.WriteString(c, strings.Repeat("x", 4096)); err != nil {
			return
		}
	}
}

// clock is simulated: each round looks a little later.
type clock struct {
	at time.Time
}

// rounds sends until the outbox is empty, in simulated time, and gives how long that took
// and how many rounds.
func rounds(t *testing.T, b *box, r *receiver, c *clock, each time.Duration, most int) (time.Duration, int) {
	t.Helper()
	began := c.at
	for n := range most {
		if b.left() == 0 {
			return c.at.Sub(began), n
		}
		r.round(t.Context())
		c.at = c.at.Add(each)
	}
	t.Fatalf("%d items are left after %d rounds", b.left(), most)
	return 0, 0
}

func receiverOf(b *box, url string, timeout time.Duration, c *clock) *receiver {
	r := New(b, []Webhook{{Name: "phone", URL: url, Client: &http.Client{Timeout: timeout, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{DisableKeepAlives: true}}}}, nil).receivers[0]
	r.now = func() time.Time { return c.at }
	return r
}

// Each misbehaviour, before an alarm's raise and before its clearing: both arrive in the
// end, in order, and each is accepted once.
func TestAReceiverMayMisbehaveInEveryWay(t *testing.T) {
	for name := range (&rude{}).manners() {
		t.Run(name, func(t *testing.T) {
			t.Parallel() // they wait for most of their time
			srv := newRude(t)
			m := srv.manners()[name]
			srv.manner = []func(net.Conn){m, m, nil, m, nil}
			b, c := newBox("phone", "pressure-left", "pressure-left"), &clock{time.Unix(1767225600, 0)}
			r := receiverOf(b, "http://"+srv.l.Addr().String(), 5*time.Second, c) // an answer in time needs less on any machine
			took, _ := rounds(t, b, r, c, time.Second, 10_000)
			srv.mu.Lock()
			defer srv.mu.Unlock()
			if len(srv.accepted) != 2 || srv.accepted[0].Type != "strokewise.alarm.raised" || srv.accepted[1].Type != "strokewise.alarm.cleared" {
				t.Errorf("accepted %+v", srv.accepted)
			}
			if len(srv.tried) != 2 || srv.n != 5 {
				t.Errorf("%d requests for %d events", srv.n, len(srv.tried))
			}
			least := 3 * time.Second // waits of 1 to 2, 2 to 4 and 1 to 2 s
			if name == "429" {
				least = 3 * 1800 * time.Second
			}
			if took < least {
				t.Errorf("all in %s: the receiver is not left alone", took)
			}
		})
	}
}

// A receiver that is down for a day: attempts grow rare, at most one in two and a half
// minutes an alarm, nothing is lost, and afterwards each alarm's transitions come in order.
func TestAReceiverIsDownForADay(t *testing.T) {
	alarms := []string{"pressure-left", "pressure-left", "outlet-leak", "outlet-leak", "signal-lost"}
	b, c := newBox("phone", alarms...), &clock{time.Unix(1767225600, 0)}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close() // nobody listens: connections are refused
	r := receiverOf(b, "http://"+addr, time.Second, c)
	for end := c.at.Add(24 * time.Hour); c.at.Before(end); c.at = c.at.Add(lookAgain) {
		if due, _ := b.OutboxDue(t.Context(), "phone", station.InstantOf(c.at), 1); len(due) > 0 {
			r.round(t.Context())
		}
	}
	if b.left() != len(alarms) {
		t.Fatalf("%d of %d items are left", b.left(), len(alarms))
	}
	const heads = 3 // one of each alarm
	if most := int64(heads * (24*60*2/5 + 20)); r.failed > most || r.failed < heads*24*60/5 {
		t.Errorf("%d attempts in a day, expected at most %d", r.failed, most)
	}
	t.Logf("%d attempts in a day for %d alarms", r.failed, heads)
	srv := newRude(t)
	r.way.(*Webhook).URL = "http://" + srv.l.Addr().String()
	took, _ := rounds(t, b, r, c, lookAgain, 10_000)
	if took > 2*backoffMost+time.Minute {
		t.Errorf("the last came %s after the receiver was back", took)
	}
	raised := map[string]bool{}
	for _, e := range srv.accepted {
		if e.Type == "strokewise.alarm.cleared" && !raised[e.Subject] {
			t.Errorf("%s cleared before it was raised", e.Subject)
		}
		raised[e.Subject] = true
	}
	if len(srv.accepted) != len(alarms) {
		t.Errorf("%d of %d accepted", len(srv.accepted), len(alarms))
	}
}

// One alarm that the receiver never takes holds no other alarm up.
func TestOneRefusedAlarmHoldsNoOtherUp(t *testing.T) {
	var names []string
	for i := range 100 {
		names = append(names, fmt.Sprint("alarm-", i))
	}
	b, c := newBox("phone", names...), &clock{time.Unix(1767225600, 0)}
	h := &hook{}
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, req *http.Request) {
		body, _ := io.ReadAll(req.Body)
		if strings.Contains(string(body), `"alarm-0"`) {
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		h.mu.Lock()
		h.n++
		h.mu.Unlock()
	})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: mux}
	done := make(chan struct{})
	go func() { srv.Serve(l); close(done) }()
	defer func() { srv.Shutdown(context.Background()); <-done }()
	r := receiverOf(b, "http://"+l.Addr().String(), time.Second, c)
	for range 20 {
		r.round(t.Context())
		c.at = c.at.Add(time.Second)
	}
	if h.n != 99 || b.left() != 1 {
		t.Errorf("%d delivered, %d left", h.n, b.left())
	}
}

// A receiver that asks to be left alone is, with all alarms, for five minutes at most.
func TestRetryAfterHoldsForAllAlarms(t *testing.T) {
	srv := newRude(t)
	srv.manner = []func(net.Conn){srv.manners()["429"]}
	b, c := newBox("phone", "a", "b", "c"), &clock{time.Unix(1767225600, 0)}
	r := receiverOf(b, "http://"+srv.l.Addr().String(), time.Second, c)
	for range 60 {
		r.round(t.Context())
		c.at = c.at.Add(4 * time.Second)
	}
	if srv.n != 1 {
		t.Errorf("%d requests within four minutes of a Retry-After of half an hour", srv.n)
	}
	if took, _ := rounds(t, b, r, c, lookAgain, 10_000); took > 30*time.Minute || len(srv.accepted) != 3 || srv.accepted[2].Subject != "a" {
		t.Errorf("after %s: %+v", took, srv.accepted)
	}
}
