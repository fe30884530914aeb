package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// Token is what a script shows instead of a login. The secret itself is shown once, when it is made.
type Token struct {
	Name    string    `yaml:"name"`
	ID      string    `yaml:"id"`   // hexadecimal; the beginning of the secret, to recognise it
	Hash    string    `yaml:"hash"` // SHA-256 of the whole, base64
	Role    Role      `yaml:"role"`
	Scopes  []Scope   `yaml:"scope,omitempty"`
	Only    []Action  `yaml:"only,omitempty"`
	Created time.Time `yaml:"created"`
	Expires time.Time `yaml:"expires"`
}

// TokenMark is what tokens begin with, so that a scanner for lost secrets can know them.
const TokenMark = "swt_"

const (
	tokenIDSize = 6  // bytes
	tokenSize   = 32 // bytes of chance: beyond guessing, so a plain hash keeps it
)

// NewToken returns a token and its secret, as in swt_0a1b2c3d4e5f_....
func NewToken(t Token) (Token, string) {
	var id [tokenIDSize]byte
	var secret [tokenSize]byte
	_, _ = rand.Read(id[:]) // it never fails
	_, _ = rand.Read(secret[:])
	t.ID = hex.EncodeToString(id[:])
	text := TokenMark + t.ID + "_" + base64.RawURLEncoding.EncodeToString(secret[:])
	t.Hash = digest(text)
	return t, text
}

func digest(text string) string {
	sum := sha256.Sum256([]byte(text))
	return base64.RawStdEncoding.EncodeToString(sum[:])
}

// tokenID returns the identifier within a token's secret.
func tokenID(secret string) (string, bool) {
	rest, ok := strings.CutPrefix(secret, TokenMark)
	id, _, cut := strings.Cut(rest, "_")
	return id, ok && cut && len(id) == 2*tokenIDSize && len(secret) <= 100
}

// is reports whether the token's secret is this one.
func (t *Token) is(secret string) bool {
	return subtle.ConstantTimeCompare([]byte(digest(secret)), []byte(t.Hash)) == 1
}

// Expired reports whether the token is over.
func (t *Token) Expired(now time.Time) bool { return !now.Before(t.Expires) }

// Grant returns what the token's holder may do.
func (t *Token) Grant() Grant {
	return Grant{Name: t.Name, Role: t.Role, Scopes: t.Scopes, Only: t.Only}
}

func (t *Token) check() error {
	if err := CheckName(t.Name); err != nil {
		return err
	}
	sum, err := base64.RawStdEncoding.Strict().DecodeString(t.Hash)
	id, errID := hex.DecodeString(t.ID)
	switch {
	case err != nil || len(sum) != sha256.Size || errID != nil || len(id) != tokenIDSize:
		return fmt.Errorf("token %q is damaged: revoke it and add another one", t.Name)
	case t.Role < Viewer || t.Role > Administrator:
		return fmt.Errorf("token %q has no role: expected one of %s", t.Name, strings.Join(RoleNames(), ", "))
	case t.Expires.IsZero():
		return fmt.Errorf("token %q has no end: revoke it and add another one", t.Name)
	}
	for _, a := range t.Only {
		if _, ok := Least(a); !ok {
			return fmt.Errorf("token %q is for %q, which is no action: expected some of %v", t.Name, a, Actions())
		}
	}
	return nil
}
