package egress

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strconv"
	"time"
)

// SignatureHeader holds the signature of a body.
const SignatureHeader = "Strokewise-Signature"

// Signed returns the headers of a body: those that are given, and its signature where there is a key. The
// signature is the HMAC-SHA-256 (RFC 2104) of the time of sending in Unix seconds, a line end and the body, so that a
// receiver can refuse what is old.
func Signed(given http.Header, key, body []byte, now time.Time) http.Header {
	if len(key) == 0 {
		return given
	}
	out := given.Clone()
	if out == nil {
		out = http.Header{}
	}
	at := strconv.FormatInt(now.Unix(), 10)
	h := hmac.New(sha256.New, key)
	h.Write([]byte(at + "\n"))
	h.Write(body)
	out.Set(SignatureHeader, "at="+at+", hmac-sha256="+hex.EncodeToString(h.Sum(nil)))
	return out
}
