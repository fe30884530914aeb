package trail

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"strokewise/rules/notify/egress"
)

// Webhook posts the lines of a trail, each as one JSON object, and takes an answer of 2xx for a receipt.
type Webhook struct {
	URL     string
	Header  http.Header // sent along, such as Authorization; may be nil
	SignKey []byte      // lines are signed with it as events are; nil: they are not
	Client  *http.Client
}

// Send posts a line.
func (w *Webhook) Send(ctx context.Context, line []byte, _ *Entry) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, w.URL, bytes.NewReader(line))
	if err != nil {
		return errors.New("cannot make the request to the audit's receiver") // the URL may hold a secret
	}
	for name, values := range egress.Signed(w.Header, w.SignKey, line, time.Now()) {
		r.Header[name] = values
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "strokewise")
	res, err := w.Client.Do(r)
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	if err != nil {
		return fmt.Errorf("cannot reach the audit's receiver: %w", err)
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, 4096)) // so that the connection can be used again
	if res.StatusCode/100 != 2 {
		return fmt.Errorf("the audit's receiver answered %s", res.Status)
	}
	return nil
}

// Close lets connections go.
func (w *Webhook) Close() { w.Client.CloseIdleConnections() }
