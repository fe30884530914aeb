package backup

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// Key signs backups: who has it can make and check them.
type Key []byte

// leastKey is the least length of a key, bytes: shorter ones can be guessed.
const leastKey = 32

// ReadKey reads a key from a file; white space around it does not count.
func ReadKey(path string) (Key, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the key of backups: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, 64<<10))
	if err != nil {
		return nil, fmt.Errorf("cannot read the key of backups %q: %w", path, err)
	}
	key := bytes.TrimSpace(text)
	if len(key) < leastKey {
		return nil, fmt.Errorf("the key of backups %q has %d bytes, %d are needed: make one with head -c 32 /dev/urandom | base64", path, len(key), leastKey)
	}
	return key, nil
}

// sign returns the HMAC-SHA256 of a manifest, which holds the digest of the history.
func (k Key) sign(manifest []byte) string {
	h := hmac.New(sha256.New, k)
	h.Write([]byte("strokewise backup\n"))
	h.Write(manifest)
	return hex.EncodeToString(h.Sum(nil))
}

// errUnsigned refuses a backup where a key asks for signed ones.
var errUnsigned = errors.New("it is not signed, and a key is given: it was made without the key, or somebody took the signature away; check where it comes from, and leave the key out if you trust it")

// check returns an error unless signature is that of the manifest. Without a key nothing is checked.
func (k Key) check(manifest, signature []byte) error {
	if k == nil {
		return nil
	}
	if len(signature) == 0 {
		return errUnsigned
	}
	if !hmac.Equal([]byte(strings.TrimSpace(string(signature))), []byte(k.sign(manifest))) {
		return errors.New("its signature is not of this key: it was signed with another one, or somebody changed it")
	}
	return nil
}
