package access

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// Cost is what one hash takes.
type Cost struct {
	Memory  uint32 // KiB
	Passes  uint32
	Threads uint8
}

// Usual is the second recommended option of RFC 9106, section 4: 64 MiB, three passes, four lanes.
// The first takes 2 GiB a login, more than a monitor's machine has to give.
var Usual = Cost{Memory: 64 << 10, Passes: 3, Threads: 4}

// Most that a hash in a users file may ask for, so that a login cannot take the machine's memory.
var most = Cost{Memory: 256 << 10, Passes: 10, Threads: 16}

const (
	saltSize = 16 // bytes, RFC 9106 section 4
	hashSize = 32 // bytes, RFC 9106 section 4

	leastPassword = 12  // characters; own choice above the 8 that are the least in common practice
	mostPassword  = 256 // bytes that are hashed
	leastPIN      = 4   // digits: it counts beside a panel's own login only
	mostPIN       = 12
)

// Hash is a password or PIN at rest: Argon2id as a string in the PHC format.
type Hash string

// NewHash hashes a secret with a salt of its own.
func NewHash(secret string, c Cost) Hash {
	salt := make([]byte, saltSize)
	_, _ = rand.Read(salt) // it never fails
	key := argon2.IDKey([]byte(secret), salt, c.Passes, c.Memory, c.Threads, hashSize)
	b := base64.RawStdEncoding.EncodeToString
	return Hash(fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.Memory, c.Passes, c.Threads, b(salt), b(key)))
}

// Is reports whether the hash is that of a secret. No secret is that of an empty hash.
func (h Hash) Is(secret string) bool {
	p, err := h.parse()
	if err != nil || secret == "" || len(secret) > mostPassword {
		return false
	}
	key := argon2.IDKey([]byte(secret), p.salt, p.cost.Passes, p.cost.Memory, p.cost.Threads, uint32(len(p.key)))
	return subtle.ConstantTimeCompare(key, p.key) == 1
}

// Check reports what is wrong with a hash that was read.
func (h Hash) Check() error {
	_, err := h.parse()
	return err
}

// String returns a placeholder: hashes are for the users file alone.
func (h Hash) String() string {
	if h == "" {
		return ""
	}
	return "(redacted)"
}

// GoString returns the placeholder.
func (h Hash) GoString() string { return h.String() }

type parsedHash struct {
	cost      Cost
	salt, key []byte
}

var errHash = errors.New("is no Argon2id hash in the PHC format: set it by strokewise user password")

func (h Hash) parse() (p parsedHash, err error) {
	parts := strings.Split(string(h), "$")
	if len(h) > 300 || len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != "v="+strconv.Itoa(argon2.Version) {
		return p, errHash
	}
	if p.cost, err = parseCost(parts[3]); err != nil {
		return p, err
	}
	p.salt, err = base64.RawStdEncoding.Strict().DecodeString(parts[4])
	if err == nil {
		p.key, err = base64.RawStdEncoding.Strict().DecodeString(parts[5])
	}
	if err != nil || len(p.salt) < 8 || len(p.salt) > 64 || len(p.key) < 16 || len(p.key) > 64 {
		return p, errHash
	}
	return p, nil
}

// parseCost reads "m=65536,t=3,p=4".
func parseCost(text string) (c Cost, err error) {
	var v [3]uint64
	fields := strings.Split(text, ",")
	if len(fields) != len(v) {
		return c, errHash
	}
	for i, prefix := range []string{"m=", "t=", "p="} {
		digits, ok := strings.CutPrefix(fields[i], prefix)
		if v[i], err = strconv.ParseUint(digits, 10, 32); err != nil || !ok || v[i] == 0 || digits[0] == '0' || digits[0] == '+' {
			return c, errHash
		}
	}
	if v[0] > uint64(most.Memory) || v[1] > uint64(most.Passes) || v[2] > uint64(most.Threads) || v[0] < 8*v[2] {
		return c, fmt.Errorf("asks for m=%d,t=%d,p=%d: at most m=%d,t=%d,p=%d is computed", v[0], v[1], v[2], most.Memory, most.Passes, most.Threads)
	}
	return Cost{uint32(v[0]), uint32(v[1]), uint8(v[2])}, nil
}

// CheckPassword reports why a new password of a user is not taken.
func CheckPassword(user, password string) error {
	switch {
	case utf8.RuneCountInString(password) < leastPassword:
		return fmt.Errorf("the password is shorter than %d characters: some words in a row are easy to type and hard to guess", leastPassword)
	case len(password) > mostPassword:
		return fmt.Errorf("the password is longer than %d bytes", mostPassword)
	case distinct(password) < 5:
		return errors.New("the password repeats too few characters: take another one")
	case strings.Contains(strings.ToLower(password), strings.ToLower(user)) && len(user) > 2:
		return errors.New("the password holds the user's name: take another one")
	case common(user, password):
		return errors.New("the password is made of words and runs that everybody tries first: add words of your own that have nothing to do with this program or its plant")
	}
	return nil
}

// CheckPIN reports why a new PIN is not taken.
func CheckPIN(pin string) error {
	if len(pin) < leastPIN || len(pin) > mostPIN || strings.Trim(pin, "0123456789") != "" {
		return fmt.Errorf("the PIN must be %d to %d digits", leastPIN, mostPIN)
	}
	if distinct(pin) == 1 || strings.Contains("0123456789012 9876543210987", pin) {
		return errors.New("the PIN is one that everybody tries first: take another one")
	}
	return nil
}

func distinct(text string) int {
	seen := map[rune]bool{}
	for _, r := range text {
		seen[r] = true
	}
	return len(seen)
}
