package notify

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The signature is what openssl 3 computes of the same bytes:
// printf '1767225600\n{"a":1}' | openssl dgst -sha256 -hmac 'a key of a test, thirty-two bytes'
func TestSignature(t *testing.T) {
	given := http.Header{"Authorization": {"Bearer x"}}
	got := signed(given, []byte("a key of a test, thirty-two bytes"), []byte(`{"a":1}`), time.Unix(1767225600, 0))
	const want = "at=1767225600, hmac-sha256=68adac886d6f22190998938e17cf1d9c56b78d2a686d3e9663b823076530209b"
	if got.Get("Strokewise-Signature") != want || got.Get("Authorization") != "Bearer x" || len(given) != 1 {
		t.Errorf("%v", got)
	}
	if got := signed(given, nil, []byte("x"), time.Now()); len(got) != 1 {
		t.Errorf("without a key: %v", got)
	}
}

// What a receiver gets has the signature of its own bytes.
func TestASignedEvent(t *testing.T) {
	key := []byte("a key of a test, thirty-two bytes")
	var fault string
	h := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		got := r.Header.Get("Strokewise-Signature")
		at, _, _ := strings.Cut(strings.TrimPrefix(got, "at="), ",")
		seconds, err := strconv.ParseInt(at, 10, 64)
		if err != nil || signed(nil, key, body, time.Unix(seconds, 0)).Get("Strokewise-Signature") != got || r.Header.Get("X-Also") != "1" {
			fault = got
		}
	}))
	defer h.Close()
	w := &Webhook{Name: "x", URL: h.URL, Client: NewClient(), SignKey: key, Header: http.Header{"X-Also": {"1"}}}
	defer w.Close()
	x := leftAlarm(time.Now(), 0)
	if _, err := w.Deliver(t.Context(), &Item{Transition: x}); err != nil || fault != "" {
		t.Errorf("%v, %q", err, fault)
	}
}
