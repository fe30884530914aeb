package egress

import (
	"net/http"
	"testing"
	"time"
)

// The signature is what openssl 3 computes of the same bytes:
// printf '1767225600\n{"a":1}' | openssl dgst -sha256 -hmac 'a key of a test, thirty-two bytes'
func TestSignature(t *testing.T) {
	given := http.Header{"Authorization": {"Bearer x"}}
	got := Signed(given, []byte("a key of a test, thirty-two bytes"), []byte(`{"a":1}`), time.Unix(1767225600, 0))
	const want = "at=1767225600, hmac-sha256=68adac886d6f22190998938e17cf1d9c56b78d2a686d3e9663b823076530209b"
	if got.Get("Strokewise-Signature") != want || got.Get("Authorization") != "Bearer x" || len(given) != 1 {
		t.Errorf("%v", got)
	}
	if got := Signed(given, nil, []byte("x"), time.Now()); len(got) != 1 {
		t.Errorf("without a key: %v", got)
	}
}
