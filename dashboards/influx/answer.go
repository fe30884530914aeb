package influx

import (
	"bytes"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	client "github.com/influxdata/influxdb-client-go/v2/api/http"

	"strokewise/rules/notify/egress"
)

// kind tells what is to be done about an answer.
type kind uint8

const (
	taken   kind = iota // every point is written
	down                // try again later: unreachable, slow, out of order
	busy                // try again when the server says
	login               // the token is refused
	setup               // the server refuses the request as such, whatever its points
	refused             // at least one of the points is refused; others may be written
	broken              // our own side fails
)

// answer is what came of a request.
type answer struct {
	kind   kind
	err    error
	after  time.Duration // that the server wants to be left alone; 0: it says nothing
	blames bool          // a refusal speaks of the data, not of the request
	lost   int           // points that a refusal says were not written, 0: it says nothing
}

const (
	readBody    = 16 << 10 // bytes of an answer; the rest is not looked at
	mostPatient = time.Hour
)

// wire carries the client's requests and keeps what the client does not tell of the
// answer: the status, the beginning of the body, how long to wait.
type wire struct {
	http   *http.Client
	status int
	body   string
	after  time.Duration
}

// newWire returns a wire that follows no redirect: a write that is answered by another page
// would count as done.
func newWire(c *tls.Config, dial egress.Dial, timeout time.Duration) *wire {
	return &wire{http: egress.New(egress.Options{Dial: dial, TLS: c, Timeout: timeout, Idle: 1})}
}

// Do sends a request. The body it gives back is bounded.
func (w *wire) Do(req *http.Request) (*http.Response, error) {
	w.status, w.body, w.after = 0, "", 0
	res, err := w.http.Do(req)
	if err != nil {
		return nil, err
	}
	body, err := io.ReadAll(io.LimitReader(res.Body, readBody))
	res.Body.Close()
	if err != nil && len(body) == 0 {
		return nil, fmt.Errorf("cannot read answer: %w", err)
	}
	res.Body = io.NopCloser(bytes.NewReader(body))
	w.status, w.body, w.after = res.StatusCode, string(body), retryAfter(res.Header.Get("Retry-After"), time.Now())
	return res, nil
}

// answer judges what came of the newest request, given the client's error.
func (w *wire) answer(err error) answer {
	var fault *client.Error
	switch said := errors.New("server answered " + w.said()); {
	case w.status == 0 && errors.As(err, &fault):
		return answer{kind: down, err: fmt.Errorf("cannot reach server: %w", err)}
	case w.status == 0: // it was not even sent
		return answer{kind: refused, blames: true, err: fmt.Errorf("cannot encode point: %w", err)}
	case w.status == http.StatusNoContent, w.status == http.StatusOK && w.body == "":
		return answer{}
	case w.status == http.StatusTooManyRequests, w.status == http.StatusServiceUnavailable && w.after > 0:
		return answer{kind: busy, err: said, after: w.after}
	case w.status == http.StatusUnauthorized, w.status == http.StatusForbidden:
		return answer{kind: login, err: fmt.Errorf("%w; check that token_file holds a token that may write to the bucket", said)}
	case w.status == http.StatusBadRequest, w.status == http.StatusRequestEntityTooLarge, w.status == http.StatusUnprocessableEntity,
		w.status == http.StatusCreated: // part of the points, by some servers
		return answer{kind: refused, err: said, blames: w.status != http.StatusBadRequest || blamesData(w.body), lost: lost(w.body)}
	case w.status >= 500, w.status == http.StatusRequestTimeout:
		return answer{kind: down, err: said, after: w.after}
	case w.status == http.StatusNotFound:
		return answer{kind: setup, err: fmt.Errorf("%w; check url, org and bucket: the bucket must exist", said)}
	case w.status < 300:
		return answer{kind: setup, err: fmt.Errorf("%w, as no InfluxDB does; check url", said)}
	default:
		return answer{kind: setup, err: fmt.Errorf("%w; check url", said)}
	}
}

// said gives the answer for messages.
func (w *wire) said() string {
	s := strconv.Itoa(w.status) + " " + http.StatusText(w.status)
	if body := strings.TrimSpace(w.body); body != "" {
		s += ": " + strconv.Quote(body[:min(len(body), 200)])
	}
	return s
}

// blamesData tells whether a refusal speaks of points. One that does not may mean the
// request as such, and then no point is to be given up for it.
func blamesData(body string) bool {
	body = strings.ToLower(body)
	for _, s := range [...]string{"partial write", "unable to parse", "field type conflict", "beyond retention", "dropped=", "schema"} {
		if strings.Contains(body, s) {
			return true
		}
	}
	return false
}

var droppedIn = regexp.MustCompile(`dropped=(\d+)`)

// lost gives the number of points that a partial write left out.
func lost(body string) int {
	if m := droppedIn.FindStringSubmatch(body); m != nil {
		n, _ := strconv.Atoi(m[1])
		return n
	}
	return 0
}

// retryAfter reads a Retry-After header (RFC 9110, 10.2.3), seconds or a date; at most an
// hour.
func retryAfter(v string, now time.Time) time.Duration {
	if s, err := strconv.Atoi(v); err == nil && s >= 0 {
		return min(time.Duration(min(s, 3600))*time.Second, mostPatient)
	}
	if t, err := http.ParseTime(v); err == nil {
		return min(max(0, t.Sub(now)), mostPatient)
	}
	return 0
}
