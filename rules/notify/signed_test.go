package notify

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/rules/notify/egress"
)

// What a receiver gets has the signature of its own bytes.
func TestASignedEvent(t *testing.T) {
	key := []byte("a key of a test, thirty-two bytes")
	var fault string
	h := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got := r.Header.Get("Strokewise-Signature")
		at, _, _ := strings.Cut(strings.TrimPrefix(got, "at="), ",")
		seconds, err := strconv.ParseInt(at, 10, 64)
		if err != nil || egress.Signed(nil, key, body, time.Unix(seconds, 0)).Get("Strokewise-Signature") != got || r.Header.Get("X-Also") != "1" {
			fault = got
		}
	}))
	defer h.Close()
	w := &Webhook{Name: "x", URL: h.URL, Client: NewClient(nil), SignKey: key, Header: http.Header{"X-Also": {"1"}}}
	defer w.Close()
	x := leftAlarm(time.Now(), 0)
	if _, err := w.Deliver(t.Context(), &Item{Transition: x}); err != nil || fault != "" {
		t.Errorf("%v, %q", err, fault)
	}
}
