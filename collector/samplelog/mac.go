package samplelog

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/nats-io/nats.go"
)

const (
	// macHeader goes with each entry where there is a key: the key's name, ":" and HMAC-SHA-256
	// in hexadecimal digits.
	macHeader = "Sw-Mac"
	// sinceKey names, in the stream's metadata, the position up to which entries need no MAC,
	// with a MAC of its own.
	sinceKey = "strokewise-mac-since"
)

// Key signs entries, so that nobody without it can bring any into the log.
type Key struct {
	name   string // of its secret, which does not follow from it
	secret []byte
}

// NewKey makes a key of a secret, which should have 32 characters of chance or more.
func NewKey(secret []byte) Key {
	derived := func(what string) []byte {
		h := hmac.New(sha256.New, secret)
		h.Write([]byte("strokewise log: " + what))
		return h.Sum(nil)
	}
	return Key{name: hex.EncodeToString(derived("name")[:4]), secret: derived("entries")}
}

// sum returns the MAC of parts, each after its length, so that no two lists give the same bytes.
func (k *Key) sum(parts ...[]byte) []byte {
	h := hmac.New(sha256.New, k.secret)
	for _, p := range parts {
		fmt.Fprintf(h, "%d:", len(p))
		h.Write(p)
	}
	return h.Sum(nil)
}

// sign returns the MAC of parts with the key's name.
func (k *Key) sign(parts ...[]byte) string { return k.name + ":" + hex.EncodeToString(k.sum(parts...)) }

// keys are those of a log: the first one signs.
type keys []Key

// verify reports what is wrong with the MAC of parts.
func (ks keys) verify(mac string, parts ...[]byte) error {
	name, digits, _ := strings.Cut(mac, ":")
	sum, err := hex.DecodeString(digits)
	if err != nil || len(sum) != sha256.Size {
		return errors.New("its MAC is none of ours")
	}
	for i := range ks {
		if ks[i].name != name {
			continue
		}
		if !hmac.Equal(ks[i].sum(parts...), sum) {
			return fmt.Errorf("its MAC does not match: it was not made with key %s, or it was changed", name)
		}
		return nil
	}
	return fmt.Errorf("it is signed with a key that is not configured (%.16q)", name)
}

// signed returns what the MAC of an entry covers: its partition, so that it counts nowhere else; the
// header by which missing entries are noticed; its content.
func signed(partition int, h nats.Header, data []byte) [][]byte {
	return [][]byte{[]byte("entry"), strconv.AppendInt(nil, int64(partition), 10), []byte(h.Get(previousHeader)), data}
}

// sign adds the MAC to an entry, where there is a key.
func (j *JetStream) sign(partition int, m *nats.Msg) {
	if len(j.opt.Keys) > 0 {
		m.Header.Set(macHeader, j.opt.Keys[0].sign(signed(partition, m.Header, m.Data)...))
	}
}

// genuine reports what speaks against an entry's being one of ours. Without a key nothing does.
func (j *JetStream) genuine(partition int, position uint64, h nats.Header, data []byte) error {
	mac := h.Get(macHeader)
	switch {
	case len(j.opt.Keys) == 0:
		return nil
	case mac == "" && position <= j.since:
		return nil
	case mac == "":
		return errors.New("it is not signed")
	}
	return keys(j.opt.Keys).verify(mac, signed(partition, h, data)...)
}

// signedSince returns the position up to which entries need no MAC, and the metadata that say so. It is
// the log's end at the first start with a key. have is what the stream says of itself, last its end.
func signedSince(ks keys, have map[string]string, last uint64) (since uint64, metadata string, err error) {
	text := have[sinceKey]
	if len(ks) == 0 {
		if text != "" {
			return 0, "", errors.New("the entries of this sample log are signed: name their key in log.mac_key_file")
		}
		return 0, "", nil
	}
	if text == "" {
		since = last
	} else if since, err = ks.sinceOf(text); err != nil {
		return 0, "", fmt.Errorf("cannot tell since when the entries of this sample log are signed: %w; name the key that was used before in log.mac_old_key_files. If it is lost, begin a new log under another log.prefix", err)
	}
	position := strconv.FormatUint(since, 10)
	return since, position + " " + ks[0].sign([]byte("since"), []byte(position)), nil
}

// sinceOf parses the metadata.
func (ks keys) sinceOf(text string) (uint64, error) {
	position, mac, _ := strings.Cut(text, " ")
	n, err := strconv.ParseUint(position, 10, 64)
	if err != nil || strconv.FormatUint(n, 10) != position {
		return 0, errors.New("the note of it is no position")
	}
	return n, ks.verify(mac, []byte("since"), []byte(position))
}
