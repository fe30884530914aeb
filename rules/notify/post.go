package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"strokewise/rules/notify/egress"
)

// NewClient returns a client for receivers whose connections are made by dial; nil: to any address
// that a receiver may have.
func NewClient(dial egress.Dial) *http.Client {
	return egress.New(egress.Options{Dial: dial, Timeout: sendTimeout})
}

// post sends a body and gives the answer's status. With an error it may give how long the
// receiver wants to be left alone.
func post(ctx context.Context, c *http.Client, to string, header http.Header, contentType string, body []byte) (status string, wait time.Duration, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, to, bytes.NewReader(body))
	if err != nil {
		return "", 0, fmt.Errorf("cannot make request: %w", err)
	}
	for name, values := range header {
		req.Header[name] = values
	}
	req.Header.Set("Content-Type", contentType)
	req.Header.Set("User-Agent", "strokewise")
	res, err := c.Do(req)
	if err != nil {
		return "", 0, unreachable(err)
	}
	defer res.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(res.Body, readBody))
	if res.StatusCode/100 == 2 {
		return res.Status, 0, nil
	}
	err = errors.New("receiver answered " + res.Status + ": " + short(said))
	if res.StatusCode == http.StatusGone {
		err = fmt.Errorf("%w: %w", ErrGone, err)
	}
	return res.Status, retryAfter(res.Header.Get("Retry-After"), time.Now()), err
}

// unreachable gives the error of a request without its URL, which may hold a token.
func unreachable(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return fmt.Errorf("cannot reach receiver: %w", err)
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
